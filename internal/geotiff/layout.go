package geotiff

import (
	"math"
	"slices"
)

// Thin strips are gathered into blocks of about gatherRows rows, but not
// beyond gatherBytes; thick uncompressed strips are cut into blocks of
// cutBytes.
const (
	gatherRows  = 64
	gatherBytes = 16 << 20
	cutBytes    = 16 << 20
)

// A layout is how the segments (tiles or strips) lie in the file, and how
// blocks are made of them.
type layout struct {
	cols, rows   int // pixels of one segment; the last strip may have fewer rows
	across, down int // blocks
	segAcross    int // segments
	segDown      int
	planes       int  // 1, or one for each band
	gather       int  // segments, one below the other, in one block
	cut          int  // blocks that one segment is cut into
	padded       bool // a segment at the edge is stored whole (tiles)
	offsets      []uint64
	counts       []uint64
}

// A part is a piece of a block that one segment holds.
type part struct {
	segment int
	plane   int
	row     int // first row in the block
	skip    int // rows of the segment before it
	rows    int
}

// segments reads where the segments lie and checks them against the file.
func (im *Image) segments(d *directory) error {
	l := &im.layout
	l.planes, l.gather, l.cut = 1, 1, 1
	if !im.interleavedSegments() {
		l.planes = im.Bands // such a picture has as many in its file
	}
	offsetTag, countTag := uint16(tagStripOffsets), uint16(tagStripCounts)
	if im.Tiled = d.has(tagTileCols) && d.has(tagTileRows); im.Tiled {
		l.padded = true
		if d.has(tagTileOffsets) {
			offsetTag, countTag = tagTileOffsets, tagTileCounts
		}
	}
	if err := l.size(im, d); err != nil {
		return err
	}
	// Sizes are checked with 64 bits before they are used as ints.
	segments := uint64(l.segAcross) * uint64(l.segDown)
	if segments > uint64(im.src.size) {
		return damaged("it says that it is %d x %d pixels, but it has only %d bytes", im.Cols, im.Rows, im.src.size)
	}
	segments *= uint64(l.planes)
	var err error
	if l.offsets, err = d.uints(offsetTag); err != nil {
		return err
	}
	if l.counts, err = d.uints(countTag); err != nil {
		return err
	}
	if uint64(len(l.offsets)) < segments || l.counts != nil && uint64(len(l.counts)) < segments {
		return damaged("it lists %d of its %d pieces", min(len(l.offsets), len(l.counts)), segments)
	}
	l.offsets = l.offsets[:segments]
	if err := l.check(im); err != nil {
		return err
	}
	return l.blocks(im)
}

// size reads the size of a segment and counts the segments.
func (l *layout) size(im *Image, d *directory) error {
	colTag, rowTag := uint16(tagTileCols), uint16(tagTileRows)
	if !im.Tiled {
		colTag, rowTag = 0, tagRowsPerStrip
	}
	cols, err := d.uint(colTag, uint64(im.Cols))
	if err != nil {
		return err
	}
	rows, err := d.uint(rowTag, uint64(im.Rows))
	if err != nil {
		return err
	}
	if !im.Tiled {
		rows = min(rows, uint64(im.Rows))
	}
	if rows == 0 || cols == 0 || rows > math.MaxInt32 || cols > math.MaxInt32 {
		return damaged("it says that its pieces are %d x %d pixels", cols, rows)
	}
	l.cols, l.rows = int(cols), int(rows)
	l.segAcross = (im.Cols + l.cols - 1) / l.cols
	l.segDown = (im.Rows + l.rows - 1) / l.rows
	return nil
}

// check holds every segment to the file's length, and trims the counts of
// uncompressed ones to what they need.
func (l *layout) check(im *Image) error {
	size, most := uint64(im.src.size), expansion(im.Compression)
	if l.counts == nil { // allowed by old writers: up to the end of the file
		l.counts = make([]uint64, len(l.offsets))
		for i, off := range l.offsets {
			l.counts[i] = size - min(off, size)
		}
	}
	l.counts = l.counts[:len(l.offsets)]
	for i, off := range l.offsets {
		if im.Compression == "none" {
			l.counts[i] = min(l.counts[i], l.bytes(im, l.storedRows(im, i)))
		}
		n := l.counts[i]
		switch {
		case n > 0 && (off > size || n > size-off):
			return damaged("piece %d of %d ends at byte %d, the file at %d", i+1, len(l.offsets), off+n, size)
		case n > 0 && n < l.bytes(im, l.neededRows(im, i))/most:
			return damaged("piece %d of %d has %d bytes, which cannot hold %d x %d pixels", i+1, len(l.offsets), n, l.cols, l.neededRows(im, i))
		}
	}
	return nil
}

// expansion is how many times longer than its stored form a segment can be at
// most, so that no file makes us allocate what it does not hold.
func expansion(compression string) uint64 {
	switch compression {
	case "none":
		return 1
	case "deflate":
		return 1032 // one bit each for a length of 258 and its distance
	case "lzw":
		return 4096 // a code of 9 bits or more for a string of the table
	case "packbits":
		return 64 // two bytes for 128
	case "webp":
		return 1 << 16 // a header and a code of no bits for 16,384 x 16,384 pixels, but such pieces are not made
	case "zstd":
		return 1 << 16 // three bytes and a literal for 128 KiB, and what a frame needs
	default:
		return math.MaxUint64
	}
}

// storedRows is how many rows segment i has in the file.
func (l *layout) storedRows(im *Image, i int) int {
	if l.padded {
		return l.rows
	}
	return l.neededRows(im, i)
}

// neededRows is how many rows segment i must have in the file: a tile at the
// bottom may lack those below the picture.
func (l *layout) neededRows(im *Image, i int) int {
	row := i % (l.segAcross * l.segDown) / l.segAcross * l.rows
	return min(l.rows, im.Rows-row)
}

// rowBytes is the length of one row of a segment as it is stored; rows of colour
// differences are stored together.
func (l *layout) rowBytes(im *Image) uint64 {
	if p := im.packed; p != nil {
		return (uint64(l.cols)*uint64(p.bands/l.planes)*uint64(p.bits) + 7) / 8
	}
	return uint64(l.cols) * uint64(im.Bands/l.planes) * uint64(im.Sample.Bytes())
}

// bytes is the decoded length of some rows of a segment, at most MaxInt64 for
// any size of picture that shape and size let through.
func (l *layout) bytes(im *Image, count int) uint64 {
	if p := im.packed; p != nil && p.differences != nil {
		return p.differences.bytes(l.cols, count)
	}
	row, rows := l.rowBytes(im), uint64(count)
	if row > math.MaxInt64/rows {
		return math.MaxInt64
	}
	return row * rows
}

// blocks decides how blocks are made of segments.
func (l *layout) blocks(im *Image) error {
	tooLarge := unread("the picture is stored in pieces of %d x %d pixels, which are too large to read", l.cols, l.rows)
	row := uint64(l.cols) * uint64(im.Bands) * uint64(im.Sample.Bytes()) // of a block, decoded
	if row > maxBlockBytes {
		return tooLarge
	}
	block := row * uint64(l.rows)
	switch {
	case !l.padded && im.Compression == "none" && (im.packed == nil || im.packed.differences == nil) && block > 2*cutBytes && l.segDown == 1:
		l.cut = int((block + cutBytes - 1) / cutBytes)
	case !l.padded && l.rows < gatherRows:
		want := min(gatherRows, max(gatherBytes/row, uint64(l.rows)))
		l.gather = max(int(want)/l.rows, 1)
	}
	im.BlockCols, im.BlockRows = l.cols, l.rows*l.gather
	if l.cut > 1 {
		im.BlockRows = (l.rows + l.cut - 1) / l.cut
	}
	// Tiles of more than twice the picture are mostly not there.
	beyond := l.padded && (l.rows > 2*im.Rows || l.cols > 2*im.Cols) && block > cutBytes
	if uint64(im.BlockRows)*row > maxBlockBytes || beyond {
		return tooLarge
	}
	if uint64(im.BlockRows)*row > cutBytes && !slices.ContainsFunc(l.counts, func(n uint64) bool { return n > 0 }) {
		return damaged("it holds no pixels at all")
	}
	l.across = l.segAcross
	l.down = (im.Rows + im.BlockRows - 1) / im.BlockRows
	return nil
}

// parts lists what block i is made of.
func (im *Image) parts(i int) []part {
	l := &im.layout
	n := l.segAcross * l.segDown
	var out []part
	for plane := range l.planes {
		if l.cut > 1 {
			skip := i * im.BlockRows
			out = append(out, part{segment: plane * n, plane: plane, skip: skip, rows: min(im.BlockRows, im.Rows-skip)})
			continue
		}
		for g := range l.gather {
			down := i/l.across*l.gather + g
			if down >= l.segDown {
				break
			}
			seg := plane*n + down*l.segAcross + i%l.across
			rows := l.storedRows(im, seg)
			out = append(out, part{segment: seg, plane: plane, row: g * l.rows, rows: rows})
		}
	}
	return out
}
