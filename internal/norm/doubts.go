package norm

import (
	"bittern/internal/doubt"
	"bittern/internal/stat"
)

const (
	sickShare  = 0.40 // of the looked-at ground; beyond it the norm itself is in doubt
	sickBy     = 0.10 // off-colour share above that of the ground with the least, where noise alone turns pixels
	soundPart  = 0.20 // of the ground, that which has the least
	fewCells   = 400  // looked-at cells, 100 m2
	noisyPixel = 0.20 // ln units, crop pixels' spread from which thin patches drown in noise
)

// doubts says what the norm could not rest on.
func (w *work) doubts() []doubt.Doubt {
	var ds []doubt.Doubt
	cells, off := 0, 0
	sound := float32(stat.Quantile(stat.Sample(w.out.Share, w.look, sampleMost), soundPart))
	for i, ok := range w.look {
		if ok {
			cells++
			if w.out.Share[i]-sound >= sickBy {
				off++
			}
		}
	}
	switch {
	case cells == 0:
		return []doubt.Doubt{{
			About: "looked at", Weight: 1,
			Says:   "No ground of this field was looked at, so nothing can stand out.",
			Settle: "Fly the field again, or check the boundary and the marks.",
		}}
	case cells < fewCells:
		ds = append(ds, doubt.Doubt{
			About: "norm", Weight: 0.8,
			Says:   "So little ground was looked at that what the crop normally looks like is uncertain.",
			Settle: "Walk it.",
		})
	case float64(off) > sickShare*float64(cells):
		ds = append(ds, doubt.Doubt{
			About: "norm", Weight: 0.9,
			Says:   "More than two fifths of the crop is off-colour, so the ground that was taken for normal may itself be sick.",
			Settle: "Walk ground inside and outside the suspects.",
		})
	}
	if w.p.Search != nil {
		return ds // what lies below the cell is not what is asked for
	}
	return append(ds, w.ratioDoubts()...)
}

func (w *work) ratioDoubts() []doubt.Doubt {
	if w.s.Ratio == "" {
		return []doubt.Doubt{{
			About: "bands", Weight: 0.9,
			Says:   "The picture has no pair of bands that tells brown from green, so browned patches smaller than a cell cannot be seen.",
			Settle: "Fly with a camera that has red and green.",
		}}
	}
	if sd := w.of[PixelSpread]; sd.center[len(sd.center)-1] > noisyPixel {
		return []doubt.Doubt{{
			About: "noise", Weight: 0.4,
			Says:   "The picture is noisy, so thin patches may not show.",
			Settle: "Fly lower or in better light.",
		}}
	}
	return nil
}
