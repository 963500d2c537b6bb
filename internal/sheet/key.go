package sheet

// A keyEntry is one swatch of the key and what it means.
type keyEntry struct {
	text string
	draw func(w *flow, r rect)
}

// keyed is the key under the maps: entries set one after the other.
type keyed []keyEntry

const (
	keySize    = 8.5
	swatchW    = 18.0
	swatchH    = 8.0
	keyLead    = 12.5
	keyBetween = 10.0
)

// places says where each entry stands, relative to the key's top left corner.
func (k keyed) places(w *flow) (at []pt, height float64) {
	x, y := 0.0, 0.0
	for _, e := range k {
		need := swatchW + 4 + w.faces[regular].width(w.faces.clean(e.text), keySize)
		if x > 0 && x+need > w.width {
			x, y = 0, y+keyLead
		}
		at = append(at, pt{x, y})
		x += need + keyBetween
	}
	if len(k) > 0 {
		y += keyLead
	}
	return at, y
}

func (k keyed) height(w *flow) float64 {
	_, h := k.places(w)
	return h + 2
}

func (k keyed) draw(w *flow) {
	at, h := k.places(w)
	w.need(h)
	for i, e := range k {
		x, y := w.left+at[i].x, w.y+at[i].y
		e.draw(w, rect{x, y + 1, swatchW, swatchH})
		w.writeFit(x+swatchW+4, y+8.2, e.text, style{regular, keySize, black}, w.width-swatchW-4, 6)
	}
	w.y += h + 2
}

func ringOf(r rect) []pt {
	return []pt{{r.x, r.y}, {r.right(), r.y}, {r.right(), r.bottom()}, {r.x, r.bottom()}}
}

func frameSwatch(pn pen) func(*flow, rect) {
	return func(w *flow, r rect) { w.p.frame(pn, r) }
}

func numberSwatch(id string, st style) func(*flow, rect) {
	return func(w *flow, r rect) { w.writeMiddle(r.x+r.w/2, r.y+r.h-1, id, st) }
}

func leveeSwatch(w *flow, r rect) {
	w.p.rule(pen{ink: dim, width: 0.6}, r.x, r.y+r.h/2, r.right(), r.y+r.h/2)
}

func hatchSwatch(h hatching) func(*flow, rect) {
	return func(w *flow, r rect) {
		w.p.stroke(pen{ink: dim, width: h.width}, hatch([][]pt{ringOf(r)}, h)...)
	}
}

func rampSwatch(w *flow, r rect) {
	const steps = 6
	for i := range steps {
		share := float64(i) / (steps - 1)
		red, green, blue := plum.rgb()
		mix := func(full uint8) uint32 { return uint32(255*(1-share) + float64(full)*share) }
		k := ink(mix(red)<<16 | mix(green)<<8 | mix(blue))
		w.p.box(k, rect{r.x + r.w*float64(i)/steps, r.y, r.w / steps, r.h})
	}
}
