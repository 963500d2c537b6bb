package geotiff

import (
	"bytes"
	"errors"
	"flag"
	"io"
	"math/rand/v2"
	"runtime"
	"sync"
	"testing"

	"golang.org/x/image/tiff/lzw"
)

var lzwInputs = flag.Int("lzw-inputs", 20_000, "inputs of TestLZWMany")

// TestLZWMany holds the decoder to another one on as many inputs as
// -lzw-inputs says: what a compressor writes, the same spoiled, and noise. As
// far as the other one gets ours gets, with the same bytes, and no further.
func TestLZWMany(t *testing.T) {
	workers := runtime.GOMAXPROCS(0)
	var wg sync.WaitGroup
	for w := range workers {
		wg.Go(func() {
			m := lzwMany{r: rand.New(rand.NewPCG(12, uint64(w))), z: newLZW()}
			for i := w; i < *lzwInputs && !t.Failed(); i += workers {
				m.next()
				if what := m.compare(); what != "" {
					t.Errorf("worker %d, input %d: %s: %x", w, i, what, m.in)
				}
			}
		})
	}
	wg.Wait()
}

// An lzwMany makes inputs and compares decoders on them.
type lzwMany struct {
	r      *rand.Rand
	z      *lzwTable
	packed []byte
	in     []byte
	got    []byte
}

// next makes the next input.
func (m *lzwMany) next() {
	k := m.r.IntN(20)
	if k == 0 || len(m.packed) == 0 {
		m.pack()
	}
	m.in = append(m.in[:0], m.packed...)
	switch {
	case k == 19: // noise after a clear
		m.in = append(m.in[:0], 0x80)
		for range m.r.IntN(200) {
			m.in = append(m.in, byte(m.r.Uint32()))
		}
	case k > 3:
		for range 1 + m.r.IntN(2) {
			if at := m.r.IntN(len(m.in)); k > 15 {
				m.in = m.in[:at+1]
			} else {
				m.in[at] ^= 1 << m.r.IntN(8)
			}
		}
	}
}

// pack compresses a new text: a short one, or now and then one that fills the
// table.
func (m *lzwMany) pack() {
	n := m.r.IntN(300)
	if m.r.IntN(40) == 0 {
		n = 3000 + m.r.IntN(9000)
	}
	p := make([]byte, n)
	spread := m.r.Float64() * 60
	for i := range p {
		p[i] = byte(min(m.r.ExpFloat64()*spread, 255))
	}
	m.packed = packLZW(p)
}

// compare decodes the input with both decoders; it returns what differs.
func (m *lzwMany) compare() string {
	const most = 1 << 16
	want, err := io.ReadAll(io.LimitReader(lzw.NewReader(bytes.NewReader(m.in), lzw.MSB, 8), most))
	if len(want) == most {
		return ""
	}
	m.got = append(m.got[:0], make([]byte, len(want)+1)...)
	if ourErr := m.z.decode(m.got[:len(want)], m.in); ourErr != nil {
		return "refused: " + ourErr.Error()
	}
	if !bytes.Equal(m.got[:len(want)], want) {
		return "other bytes"
	}
	ourErr := m.z.decode(m.got, m.in)
	switch {
	case ourErr == nil && err != nil:
		return "goes on where the other says: " + err.Error()
	case ourErr == nil:
		return "goes on where the other ends"
	case err == nil && !errors.Is(ourErr, errLess):
		return "says at the end: " + ourErr.Error()
	}
	return ""
}
