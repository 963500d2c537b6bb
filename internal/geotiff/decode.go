package geotiff

import (
	"errors"
	"math"
	"slices"
)

// A Decoder decodes the blocks of one picture and owns the buffers for it.
// It must not be used from two goroutines at once.
type Decoder struct {
	im     *Image
	in     []byte // one segment as stored
	plane  []byte // one band-separate segment, decoded
	bits   []byte // one segment of samples that are converted, decoded
	row    []byte // one row, for the float predictor
	unpack unpacker
}

// NewDecoder returns a decoder; each worker needs one of its own.
func (im *Image) NewDecoder() *Decoder { return &Decoder{im: im} }

// Decode decodes block i into dst: BlockRows rows of BlockCols pixels, each
// with its Bands samples together, little-endian, with any predictor undone.
// A Deflate block's checksum is verified. Rows of a block that lie below the
// picture are left as they are, as far as the file does not hold them; pixels
// that lie right of it hold whatever the file has there. Pieces that the file
// left out become no data, or zeros when the file names none.
//
// The error is a *doubt.Problem without a file name when the block is
// damaged. Decode panics when dst is shorter than [Image.BlockBytes].
func (d *Decoder) Decode(i int, dst []byte) error {
	return d.decode(i, dst, false)
}

// DecodeRaw is Decode without undoing the predictor that
// [Image.RawPredictor] names, so that a caller can undo it while it sums. Where
// that is 2, left out pieces come as differences, too: a row that is undone
// holds no data.
func (d *Decoder) DecodeRaw(i int, dst []byte) error {
	return d.decode(i, dst, d.im.RawPredictor() == 2)
}

func (d *Decoder) decode(i int, dst []byte, raw bool) error {
	im := d.im
	dst = dst[:im.BlockBytes()]
	rowBytes := im.layout.cols * im.segmentBands() * im.Sample.Bytes()
	for _, p := range im.parts(i) {
		out := dst
		if im.layout.planes > 1 {
			d.plane = slices.Grow(d.plane[:0], im.BlockRows*rowBytes)[:im.BlockRows*rowBytes]
			out = d.plane
		}
		out = out[p.row*rowBytes:][:p.rows*rowBytes]
		if err := d.segment(p, out, raw); err != nil {
			return err
		}
		if im.layout.planes > 1 {
			d.interleave(p, out, dst)
		}
	}
	return nil
}

// segment decodes one part of a block, of whole rows.
func (d *Decoder) segment(p part, out []byte, raw bool) error {
	l := &d.im.layout
	if l.counts[p.segment] == 0 {
		d.leftOut(out, raw)
		return nil
	}
	if d.im.packed != nil {
		return d.converted(p, out)
	}
	if err := d.fetch(p, out); err != nil {
		return err
	}
	if !raw {
		d.undo(out)
	}
	if d.im.white {
		d.im.invert(out)
	}
	return nil
}

// converted decodes one part whose samples are stored in another form.
func (d *Decoder) converted(p part, out []byte) error {
	rowBytes, all := int(d.im.layout.rowBytes(d.im)), int(d.im.layout.bytes(d.im, p.rows))
	d.bits = slices.Grow(d.bits[:0], all)[:all]
	if err := d.fetch(p, d.bits); err != nil {
		return err
	}
	if t := d.im.packed.differences; t != nil {
		t.expand(d.bits, out, d.im.layout.cols, p.rows)
		return nil
	}
	d.undo(d.bits)
	outBytes := len(out) / p.rows
	for r := range p.rows {
		d.im.expand(d.bits[r*rowBytes:][:rowBytes], out[r*outBytes:][:outBytes])
	}
	if d.im.white {
		d.im.invert(out)
	}
	return nil
}

// fetch reads and decompresses one part.
func (d *Decoder) fetch(p part, out []byte) error {
	im, l := d.im, &d.im.layout
	needed := int(l.bytes(im, l.neededRows(im, p.segment)))
	if im.Compression == "none" {
		skip := uint64(p.skip) * l.rowBytes(im)
		have := l.counts[p.segment] - skip // held to what is needed when the picture was opened
		out = out[:min(uint64(len(out)), have)]
		if err := im.src.readInto(out, l.offsets[p.segment]+skip); err != nil {
			return err
		}
		if im.backward {
			reverseBits(out)
		}
		return nil
	}
	if err := d.load(p.segment); err != nil {
		return err
	}
	err := d.unpack.unpack(im, d.in, out)
	if err != nil && needed < len(out) && d.unpack.unpack(im, d.in, out[:needed]) == nil {
		return nil
	}
	switch {
	case errors.Is(err, errors.ErrUnsupported):
		return unread("the picture has JPEG pieces of a kind that is not read")
	case err != nil:
		return damaged("piece %d of %d: %v", p.segment+1, len(l.offsets), err)
	}
	return nil
}

// load reads the bytes of a segment.
func (d *Decoder) load(segment int) error {
	l := &d.im.layout
	n := l.counts[segment]
	if n > math.MaxInt32 {
		return damaged("piece %d of %d has %d bytes", segment+1, len(l.offsets), n)
	}
	if cap(d.in) < int(n) {
		d.in = make([]byte, n+n/8)
	}
	d.in = d.in[:n]
	if err := d.im.src.readInto(d.in, l.offsets[segment]); err != nil {
		return err
	}
	if d.im.backward {
		reverseBits(d.in)
	}
	return nil
}

// undo turns the stored rows into samples of this machine's order.
func (d *Decoder) undo(out []byte) {
	im := d.im
	if im.Predictor == 3 {
		d.undoFloat(out)
		return
	}
	if im.BigEndian {
		swapBytes(out, im.storedBytes())
	}
	if im.Predictor == 2 {
		undoDifferences(out, im.layout.cols, im.storedBands(), im.storedBytes())
	}
}

// segmentBands is how many samples of a pixel one segment holds.
func (im *Image) segmentBands() int { return im.Bands / im.layout.planes }

// leftOut fills a part that the file does not hold with no data.
func (d *Decoder) leftOut(out []byte, raw bool) {
	im := d.im
	clear(out)
	if im.NoData == nil || *im.NoData == 0 {
		return
	}
	sample := make([]byte, im.Sample.Bytes())
	putSample(sample, im.Sample, *im.NoData)
	for at := 0; at < len(out); at += len(sample) {
		copy(out[at:], sample)
	}
	if raw {
		applyDifferences(out, im.layout.cols, im.segmentBands(), im.Sample.Bytes())
	}
}

// interleave spreads one band's rows into the pixels of the block.
func (d *Decoder) interleave(p part, out, dst []byte) {
	im := d.im
	n := im.Sample.Bytes()
	step := n * im.Bands
	at := p.row*im.layout.cols*step + p.plane*n
	switch n {
	case 1:
		for _, v := range out {
			dst[at] = v
			at += step
		}
	case 2:
		for ; len(out) >= 2; out = out[2:] {
			dst[at], dst[at+1] = out[0], out[1]
			at += step
		}
	default:
		for ; len(out) >= n; out = out[n:] {
			copy(dst[at:at+n], out)
			at += step
		}
	}
}
