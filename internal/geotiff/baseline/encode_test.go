package baseline_test

import (
	"encoding/binary"
	"math/bits"
	"math/rand/v2"
	"slices"
)

// A writer makes JPEGs of all the kinds that are decoded here, which no
// encoder at hand does: any tables of codes, any ratio, restart markers.
type writer struct {
	r    *rand.Rand
	out  []byte
	hold uint64
	n    int
}

// A code is a bit pattern for a symbol.
type code struct {
	bits   uint32
	length int
}

func (w *writer) segment(marker byte, body ...byte) {
	w.out = append(w.out, 0xff, marker)
	w.out = binary.BigEndian.AppendUint16(w.out, uint16(2+len(body)))
	w.out = append(w.out, body...)
}

func (w *writer) put(value uint32, length int) {
	w.hold = w.hold<<length | uint64(value)&(1<<length-1)
	for w.n += length; w.n >= 8; w.n -= 8 {
		b := byte(w.hold >> (w.n - 8))
		w.out = append(w.out, b)
		if b == 0xff {
			w.out = append(w.out, 0)
		}
	}
}

func (w *writer) flush() {
	if w.n > 0 {
		w.put(0x7f, 8-w.n)
	}
}

// table writes codes of random lengths for the symbols, up to 16 bits.
func (w *writer) table(class byte, symbols []byte) map[byte]code {
	w.r.Shuffle(len(symbols), func(i, j int) { symbols[i], symbols[j] = symbols[j], symbols[i] })
	codes := map[byte]code{}
	body := make([]byte, 17)
	body[0] = class
	next, done, skew := uint32(0), 0, w.r.Float64()
	for length := 1; length <= 16; length++ {
		free := 1<<length - 1 - int(next) // the code of ones only is for nobody
		n := min(int(skew*w.r.Float64()*float64(free+1)), len(symbols)-done)
		for n > 0 && (free-n)<<(16-length) < len(symbols)-done-n { // the others need room, too
			n--
		}
		if length == 16 {
			n = len(symbols) - done
		}
		body[length] = byte(n)
		for range n {
			codes[symbols[done]] = code{next, length}
			next++
			done++
		}
		next <<= 1
	}
	w.segment(0xc4, slices.Concat(body, symbols)...)
	return codes
}

// A kind is what a JPEG is drawn from.
type kind struct {
	cols, rows, comps, h, v, interval int
}

func randomKind(r *rand.Rand) kind {
	k := kind{cols: 1 + r.IntN(60), rows: 1 + r.IntN(60), comps: []int{1, 3, 4}[r.IntN(3)], h: 1, v: 1}
	if k.comps == 3 {
		k.h, k.v = 1+r.IntN(2), 1+r.IntN(2)
	}
	if r.IntN(2) == 0 {
		k.interval = 1 + r.IntN(9)
	}
	return k
}

// jpegOf is a JPEG with random coefficients: of few frequencies in some
// blocks, of all in others.
func jpegOf(r *rand.Rand, k kind) []byte {
	w := &writer{r: r, out: []byte{0xff, 0xd8}}
	most := 1 + r.IntN(30)
	quant := make([]byte, 65)
	for i := range 64 {
		quant[1+i] = byte(1 + r.IntN(most))
	}
	w.segment(0xdb, quant...)
	var direct, rest []byte
	for size := range byte(12) {
		direct = append(direct, size)
	}
	for run := range byte(16) {
		for size := range byte(11) {
			if size > 0 || run == 0 || run == 15 {
				rest = append(rest, run<<4|size)
			}
		}
	}
	dc, ac := w.table(0, direct), w.table(0x10, rest)
	transform := byte(1)
	if k.comps == 4 {
		transform = 0
	}
	w.segment(0xee, append([]byte("Adobe"), 0, 100, 0, 0, 0, 0, transform)...)
	frame, scan := []byte{8, 0, byte(k.rows), 0, byte(k.cols), byte(k.comps)}, []byte{byte(k.comps)}
	for i := range k.comps {
		ratio := byte(0x11)
		if i == 0 {
			ratio = byte(k.h<<4 | k.v)
		}
		frame, scan = append(frame, byte(i+1), ratio, 0), append(scan, byte(i+1), 0)
	}
	w.segment(0xc0, frame...)
	if k.interval > 0 {
		w.segment(0xdd, 0, byte(k.interval))
	}
	w.segment(0xda, append(scan, 0, 63, 0)...)
	units := ((k.cols + 8*k.h - 1) / (8 * k.h)) * ((k.rows + 8*k.v - 1) / (8 * k.v))
	for unit := range units {
		if k.interval > 0 && unit > 0 && unit%k.interval == 0 {
			w.flush()
			w.out = append(w.out, 0xff, byte(0xd0+(unit/k.interval-1)%8))
		}
		for i := range k.comps {
			blocks := 1
			if i == 0 {
				blocks = k.h * k.v
			}
			for range blocks {
				w.block(dc, ac, quant[1:])
			}
		}
	}
	w.flush()
	return append(w.out, 0xff, 0xd9)
}

// block writes random coefficients that stay within what samples can need.
func (w *writer) block(dc, ac map[byte]code, quant []byte) {
	w.value(dc, 0, w.r.IntN(101)-50)
	last := w.r.IntN(64)
	if w.r.IntN(2) == 0 {
		last = w.r.IntN(12)
	}
	loud := w.r.ExpFloat64() * 60
	run := 0
	for k := 1; k <= last; k++ {
		v := int(w.r.NormFloat64() * loud / float64(quant[k]))
		if v = max(-500, min(v, 500)); v == 0 {
			run++
			continue
		}
		for ; run > 15; run -= 16 {
			w.put(ac[0xf0].bits, ac[0xf0].length)
		}
		w.value(ac, run, v)
		run = 0
	}
	if run > 0 || last < 63 {
		w.put(ac[0].bits, ac[0].length)
	}
}

func (w *writer) value(codes map[byte]code, run, v int) {
	size := bits.Len(uint(max(v, -v)))
	c := codes[byte(run<<4|size)]
	w.put(c.bits, c.length)
	if v < 0 {
		v--
	}
	w.put(uint32(v), size)
}
