package geotiff

import (
	"bytes"
	"encoding/binary"
	"math"
	"math/rand/v2"
	"testing"
)

// TestFastHalvesAreTheMeansOfTheGeneralWay compares the loops for kinds of
// pixels that large pictures have with the one for all.
func TestFastHalvesAreTheMeansOfTheGeneralWay(t *testing.T) {
	void, zero := math.NaN(), 0.0
	rng := rand.New(rand.NewPCG(1, 2))
	for name, f := range map[string]Format{
		"floats": {Bands: 1, Sample: Float32, NoData: &void},
		"bytes":  {Bands: 1, Sample: Uint8, NoData: &zero},
		"colors": {Bands: 5, Sample: Uint16, Alpha: true},
	} {
		size, n := f.pixelBytes(), 500
		lines := make([][]byte, 2)
		for i := range lines {
			lines[i] = make([]byte, 2*n*size)
			for p := range 2 * n {
				f.draw(rng, lines[i][p*size:][:size])
			}
		}
		got, want := make([]byte, n*size), make([]byte, n*size)
		if !f.fastHalf(lines[0], lines[1], got, n) {
			t.Fatalf("%s: there is no fast way", name)
		}
		for p := range n {
			group := [][]byte{
				lines[0][2*p*size:][:size], lines[0][(2*p+1)*size:][:size],
				lines[1][2*p*size:][:size], lines[1][(2*p+1)*size:][:size],
			}
			f.mean(want[p*size:][:size], group)
			if !bytes.Equal(got[p*size:][:size], want[p*size:][:size]) {
				t.Fatalf("%s: the mean of %v is %v, want %v", name, group, got[p*size:][:size], want[p*size:][:size])
			}
		}
	}
}

// draw writes a pixel that has no data every other time.
func (f Format) draw(rng *rand.Rand, px []byte) {
	gap := rng.IntN(2) == 0
	for b := range f.Bands {
		at := px[b*f.Sample.Bytes():]
		switch {
		case f.Sample == Float32 && gap:
			binary.LittleEndian.PutUint32(at, math.Float32bits(float32(math.NaN())))
		case f.Sample == Float32:
			binary.LittleEndian.PutUint32(at, math.Float32bits(rng.Float32()))
		case f.Sample == Uint8 && !gap:
			at[0] = byte(1 + rng.IntN(255))
		case f.Sample == Uint16 && (b < f.Bands-1 || !gap):
			binary.LittleEndian.PutUint16(at, uint16(1+rng.IntN(65535)))
		}
	}
}
