package cells

import (
	"fmt"
	"slices"
)

// order is the order of bands in a summary; others follow as they come.
func order() []string { return []string{"blue", "green", "red", "rededge", "nir"} }

// placedBands are the bands of one picture.
type placedBands struct {
	names []string // of each sample; "" is not used
	kind  Sample
	srgb  bool
}

func (b placedBands) has(name string) bool { return slices.Contains(b.names, name) }

// setBands decides the bands of the summary and the ratio of its histogram.
func (p *pass) setBands(pictures []placedBands) error {
	var bands []string
	for _, name := range append(order(), allNames(pictures)...) {
		if name != "" && !slices.Contains(bands, name) && slices.ContainsFunc(pictures, func(b placedBands) bool { return b.has(name) }) {
			bands = append(bands, name)
		}
	}
	if len(bands) == 0 {
		return fmt.Errorf("no picture has a band that is used")
	}
	for _, name := range bands {
		if err := alike(name, pictures); err != nil {
			return err
		}
	}
	p.sum.Bands, p.sum.Width = bands, binWidth
	if !p.Plain {
		p.over, p.under = chooseRatio(pictures)
	}
	return nil
}

func allNames(pictures []placedBands) (names []string) {
	for _, b := range pictures {
		names = append(names, b.names...)
	}
	return names
}

// alike checks that a band which several pictures share is stored alike in
// all of them: sums of different units would mean nothing.
func alike(name string, pictures []placedBands) error {
	var first *placedBands
	for _, b := range pictures {
		switch {
		case !b.has(name):
		case first == nil:
			first = &b
		case first.kind != b.kind || first.srgb != b.srgb:
			return fmt.Errorf("band %s is stored in different ways in different pictures", name)
		}
	}
	return nil
}

// chooseRatio picks two bands that some picture holds together: red over
// green separates brown from green, red over near infrared does it nearly as
// well.
func chooseRatio(pictures []placedBands) (over, under string) {
	for _, under := range []string{"green", "nir"} {
		for _, b := range pictures {
			if b.has("red") && b.has(under) {
				return "red", under
			}
		}
	}
	return "", ""
}

// newLayout lays the named samples out and prepares the ratio.
func (p *pass) newLayout(names []string, kind Sample, srgb bool) *layout {
	l := &layout{kind: kind, samples: len(names), alpha: -1, srgb: srgb, values: plainCodes()}
	if srgb {
		l.values = linearCodes()
	}
	for i, name := range names {
		if band := slices.Index(p.sum.Bands, name); name != "" && band >= 0 {
			l.lanes = append(l.lanes, lane{sample: i, band: band})
		}
	}
	over, under := slices.Index(names, p.over), slices.Index(names, p.under)
	if p.over != "" && over >= 0 && under >= 0 {
		l.ratio = newRatio(l, over, under)
	}
	return l
}
