package inflate_test

import (
	"bytes"
	"compress/flate"
	"flag"
	"io"
	"math/rand/v2"
	"runtime"
	"sync"
	"testing"

	"bittern/internal/tight/inflate"
)

var (
	manyInputs = flag.Int("inputs", 20_000, "inputs of TestInflateMany")
	manySeed   = flag.Uint64("inputs-seed", 1, "seed of the inputs of TestInflateMany")
)

// TestInflateMany holds the decoder to the standard library's on as many
// inputs as -inputs says: what compressors write of short texts of many kinds,
// the same with bits flipped, bytes changed or ends cut off, and noise. Both
// must accept the same inputs and agree on the bytes and on how many they took.
func TestInflateMany(t *testing.T) {
	workers := runtime.GOMAXPROCS(0)
	var wg sync.WaitGroup
	var mu sync.Mutex
	sound := 0
	for w := range workers {
		wg.Go(func() {
			m := newMany(*manySeed, uint64(w))
			for i := w; i < *manyInputs && !t.Failed(); i += workers {
				m.next()
				if what := m.compare(); what != "" {
					t.Errorf("worker %d: %s: %q, %d bytes expected", w, what, m.z, len(m.got))
				}
			}
			mu.Lock()
			sound += m.sound
			mu.Unlock()
		})
	}
	wg.Wait()
	t.Logf("%d inputs, %d of them sound", *manyInputs, sound)
	if sound < *manyInputs/4 {
		t.Errorf("only %d of %d inputs are sound", sound, *manyInputs)
	}
}

// A many makes inputs and compares decoders on them.
type many struct {
	r       *rand.Rand
	ours    inflate.Decoder
	std     io.ReadCloser
	writers []*flate.Writer
	text    []byte
	packed  bytes.Buffer
	z       []byte
	want    []byte
	got     []byte
	sound   int
}

func newMany(seed, worker uint64) *many {
	m := &many{r: rand.New(rand.NewPCG(seed, worker)), std: flate.NewReader(nil), want: make([]byte, 1<<16)}
	for _, level := range []int{flate.HuffmanOnly, 1, 4, 9, 0} {
		w, err := flate.NewWriter(io.Discard, level)
		if err != nil {
			panic(err)
		}
		m.writers = append(m.writers, w)
	}
	return m
}

// next makes the next input: a text is compressed now and then, and spoiled
// in many ways in between.
func (m *many) next() {
	switch k := m.r.IntN(12); {
	case k == 0 || m.packed.Len() == 0:
		m.compress()
		m.z = append(m.z[:0], m.packed.Bytes()...)
	case k < 5: // as it is, with something behind it
		m.z = append(m.z[:0], m.packed.Bytes()...)
		for range m.r.IntN(12) {
			m.z = append(m.z, byte(m.r.Uint32()))
		}
	case k < 10:
		m.z = append(m.z[:0], m.packed.Bytes()...)
		m.spoil()
	case k == 10: // a short one, so that noise gets far into a block
		m.z = append(m.z[:0], m.packed.Bytes()[:min(4+m.r.IntN(90), m.packed.Len())]...)
		for range m.r.IntN(60) {
			m.z = append(m.z, byte(m.r.Uint32()))
		}
	default:
		m.z = m.z[:0]
		for range m.r.IntN(120) {
			m.z = append(m.z, byte(m.r.Uint32()))
		}
	}
}

// compress packs a new text.
func (m *many) compress() {
	n, letters, back := m.r.IntN(900), 1+m.r.IntN(256), m.r.IntN(4)
	m.text = m.text[:0]
	for len(m.text) < n {
		if len(m.text) > 4 && m.r.IntN(8) < back {
			from := m.r.IntN(len(m.text))
			for range 3 + m.r.IntN(1<<m.r.IntN(9)) {
				m.text, from = append(m.text, m.text[from]), from+1
			}
			continue
		}
		m.text = append(m.text, byte(min(m.r.ExpFloat64()*float64(letters)/6, 255)))
	}
	m.packed.Reset()
	w := m.writers[m.r.IntN(len(m.writers))]
	w.Reset(&m.packed)
	half := m.r.IntN(len(m.text) + 1)
	for _, part := range [][]byte{m.text[:half], m.text[half:]} {
		if _, err := w.Write(part); err != nil {
			panic(err)
		}
		if m.r.IntN(3) == 0 {
			if err := w.Flush(); err != nil {
				panic(err)
			}
		}
	}
	if err := w.Close(); err != nil {
		panic(err)
	}
}

// spoil changes the input in one of a few ways.
func (m *many) spoil() {
	for range 1 + m.r.IntN(3) {
		if len(m.z) == 0 {
			return
		}
		at := m.r.IntN(len(m.z))
		if m.r.IntN(2) == 0 {
			at = m.r.IntN(min(len(m.z), 40)) // where the codes are told
		}
		switch m.r.IntN(4) {
		case 0, 1:
			m.z[at] ^= 1 << m.r.IntN(8)
		case 2:
			m.z[at] = byte(m.r.Uint32())
		default:
			m.z = m.z[:at]
		}
	}
}

// compare decodes the input with both decoders; it returns what differs.
func (m *many) compare() string {
	in := bytes.NewReader(m.z)
	if err := m.std.(flate.Resetter).Reset(in, nil); err != nil {
		panic(err)
	}
	n, err := io.ReadFull(m.std, m.want)
	switch {
	case err == nil:
		return "" // longer than is compared
	case err == io.EOF || err == io.ErrUnexpectedEOF && m.ended():
		err = nil
	}
	more := 0
	if m.r.IntN(8) == 0 {
		more = 1 + m.r.IntN(300)
	}
	if cap(m.got) < n+more {
		m.got = make([]byte, 2*(n+more))
	}
	m.got = m.got[:n+more]
	used, ourErr := m.ours.Deflate(m.got, m.z)
	switch {
	case err == nil && more == 0 && ourErr != nil:
		return "refused: " + ourErr.Error()
	case (err != nil || more > 0) && ourErr == nil:
		return "accepted, though damaged or shorter"
	case ourErr == nil && !bytes.Equal(m.got, m.want[:n]):
		return "other bytes"
	case ourErr == nil && used != len(m.z)-in.Len():
		return "took another number of bytes"
	}
	if err == nil {
		m.sound++
	}
	return ""
}

// ended reports whether the reader came to the end of sound data: only then
// does it go on saying so.
func (m *many) ended() bool {
	_, err := m.std.Read(make([]byte, 1))
	return err == io.EOF
}
