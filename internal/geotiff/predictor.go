package geotiff

import (
	"encoding/binary"
	"math"
	"slices"
)

// swapBytes reverses the bytes of every sample of n bytes.
func swapBytes(b []byte, n int) {
	switch n {
	case 2:
		for ; len(b) >= 2; b = b[2:] {
			b[0], b[1] = b[1], b[0]
		}
	case 3:
		for ; len(b) >= 3; b = b[3:] {
			b[0], b[2] = b[2], b[0]
		}
	case 4:
		for ; len(b) >= 4; b = b[4:] {
			binary.LittleEndian.PutUint32(b, binary.BigEndian.Uint32(b))
		}
	case 8:
		for ; len(b) >= 8; b = b[8:] {
			binary.LittleEndian.PutUint64(b, binary.BigEndian.Uint64(b))
		}
	}
}

// undoDifferences adds up each row of cols pixels in place: predictor 2.
// Samples are little-endian and n bytes long.
func undoDifferences(b []byte, cols, bands, n int) {
	rowBytes := cols * bands * n
	for ; len(b) >= rowBytes; b = b[rowBytes:] {
		row := b[:rowBytes]
		switch {
		case n == 2 && bands == 4:
			sumRow4x16(row)
		case n == 1 && bands == 3:
			sumRow3x8(row)
		case n == 1:
			for i := bands; i < len(row); i++ {
				row[i] += row[i-bands]
			}
		case n == 2:
			sumRow16(row, bands)
		default:
			sumRowWide(row, bands, n)
		}
	}
}

// sumRow4x16 adds four 16-bit lanes at a time: the top bit of each lane is
// added apart, so that no carry crosses into the next lane.
func sumRow4x16(row []byte) {
	const top = 0x8000_8000_8000_8000
	acc := uint64(0)
	for ; len(row) >= 8; row = row[8:] {
		v := binary.LittleEndian.Uint64(row)
		acc = ((acc &^ top) + (v &^ top)) ^ ((acc ^ v) & top)
		binary.LittleEndian.PutUint64(row, acc)
	}
}

func sumRow3x8(row []byte) {
	var r, g, b byte
	for ; len(row) >= 3; row = row[3:] {
		r, g, b = r+row[0], g+row[1], b+row[2]
		row[0], row[1], row[2] = r, g, b
	}
}

func sumRow16(row []byte, bands int) {
	for i := bands * 2; i+2 <= len(row); i += 2 {
		v := binary.LittleEndian.Uint16(row[i:]) + binary.LittleEndian.Uint16(row[i-bands*2:])
		binary.LittleEndian.PutUint16(row[i:], v)
	}
}

// sumRowWide is for samples of 4 or 8 bytes.
func sumRowWide(row []byte, bands, n int) {
	for i := bands * n; i+n <= len(row); i += n {
		here, before := row[i:i+n], row[i-bands*n:i-bands*n+n]
		if n == 4 {
			binary.LittleEndian.PutUint32(here, binary.LittleEndian.Uint32(here)+binary.LittleEndian.Uint32(before))
		} else {
			binary.LittleEndian.PutUint64(here, binary.LittleEndian.Uint64(here)+binary.LittleEndian.Uint64(before))
		}
	}
}

// applyDifferences is the inverse of undoDifferences.
func applyDifferences(b []byte, cols, bands, n int) {
	rowBytes, step := cols*bands*n, bands*n
	for ; len(b) >= rowBytes; b = b[rowBytes:] {
		for i := rowBytes - n; i >= step; i -= n {
			here, before := b[i:i+n], b[i-step:i-step+n]
			switch n {
			case 1:
				here[0] -= before[0]
			case 2:
				binary.LittleEndian.PutUint16(here, binary.LittleEndian.Uint16(here)-binary.LittleEndian.Uint16(before))
			case 4:
				binary.LittleEndian.PutUint32(here, binary.LittleEndian.Uint32(here)-binary.LittleEndian.Uint32(before))
			default:
				binary.LittleEndian.PutUint64(here, binary.LittleEndian.Uint64(here)-binary.LittleEndian.Uint64(before))
			}
		}
	}
}

// undoFloat undoes predictor 3 (TIFF technical note 3): each row holds the
// samples' most significant bytes, then their next ones, and so on, as
// differences of bytes. The file's byte order plays no part.
func (d *Decoder) undoFloat(out []byte) {
	n, bands := d.im.storedBytes(), d.im.storedBands()
	rowBytes := int(d.im.layout.rowBytes(d.im))
	samples := rowBytes / n
	d.row = slices.Grow(d.row[:0], rowBytes)[:rowBytes]
	for ; len(out) >= rowBytes; out = out[rowBytes:] {
		row := out[:rowBytes]
		for i := bands; i < len(row); i++ {
			row[i] += row[i-bands]
		}
		copy(d.row, row)
		for k := range n {
			plane := d.row[k*samples : (k+1)*samples]
			at := n - 1 - k
			for _, v := range plane {
				row[at] = v
				at += n
			}
		}
	}
}

// putSample writes v as one little-endian sample. Numbers that the type does
// not hold are cut to its range.
func putSample(b []byte, s Sample, v float64) {
	clamp := func(low, high float64) float64 { return math.Round(min(max(v, low), high)) }
	if math.IsNaN(v) && !s.Float() {
		v = 0
	}
	switch s {
	case Uint8:
		b[0] = uint8(clamp(0, math.MaxUint8))
	case Uint16:
		binary.LittleEndian.PutUint16(b, uint16(clamp(0, math.MaxUint16)))
	case Int16:
		binary.LittleEndian.PutUint16(b, uint16(int16(clamp(math.MinInt16, math.MaxInt16))))
	case Uint32:
		binary.LittleEndian.PutUint32(b, uint32(clamp(0, math.MaxUint32)))
	case Int32:
		binary.LittleEndian.PutUint32(b, uint32(int32(clamp(math.MinInt32, math.MaxInt32))))
	case Float32:
		binary.LittleEndian.PutUint32(b, math.Float32bits(float32(v)))
	case Float64:
		binary.LittleEndian.PutUint64(b, math.Float64bits(v))
	}
}

// getSample reads one little-endian sample.
func getSample(b []byte, s Sample) float64 {
	switch s {
	case Uint8:
		return float64(b[0])
	case Uint16:
		return float64(binary.LittleEndian.Uint16(b))
	case Int16:
		return float64(int16(binary.LittleEndian.Uint16(b)))
	case Uint32:
		return float64(binary.LittleEndian.Uint32(b))
	case Int32:
		return float64(int32(binary.LittleEndian.Uint32(b)))
	case Float32:
		return float64(math.Float32frombits(binary.LittleEndian.Uint32(b)))
	default:
		return math.Float64frombits(binary.LittleEndian.Uint64(b))
	}
}
