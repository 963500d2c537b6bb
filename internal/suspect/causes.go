package suspect

import "bittern/internal/norm"

// Causes are what a question's suspects can be consistent with.
type Causes []cause

// EscapeCauses are those that one flight can speak to after a herbicide.
func EscapeCauses() Causes { return escapeCauses() }

// The places and shapes that causes share.
func alongLevee() reading {
	return reading{func(v view) bool { return v.levee > 0.4 }, "lies along a levee"}
}

func alongEdge() reading {
	return reading{func(v view) bool { return v.border > 0.4 }, "lies along the field's edge"}
}

func inTheOpen() reading {
	return reading{func(v view) bool { return v.levee < 0.2 && v.border < 0.2 }, "away from levees and edges"}
}

func raggedPatch() reading {
	return reading{func(v view) bool { return v.ragged > 1.3 && !v.strip() }, "a ragged outline"}
}

func smoothPatch() reading {
	return reading{func(v view) bool { return v.ragged <= 1.3 && !v.strip() }, "a smooth outline"}
}

// PaleCauses are those of ground that is paler than the rest of its check.
func PaleCauses() Causes {
	strip := longStrip()
	return Causes{
		{
			name: "short of nitrogen", look: norm.Yellowed,
			speaks:  []reading{inTheOpen(), smoothPatch()},
			against: []reading{alongEdge(), strip},
			lookFor: "pale older leaves first, and a strip with extra nitrogen that stays green",
		},
		{
			name: "a streak of the spreader", look: norm.Yellowed, needs: view.strip,
			speaks:  []reading{strip},
			lookFor: "pale and dark strips side by side at the spreader's spacing",
		},
		{
			name: "cold, salt or high pH along the water's way", look: norm.Yellowed,
			needs:   func(v view) bool { return v.levee > 0.3 || v.border > 0.3 },
			speaks:  []reading{alongLevee(), alongEdge()},
			lookFor: "whether it runs from the inlet or follows a levee, a white crust, bronzed leaves",
		},
		{
			name: "thin or drowned rice that only looks pale", look: norm.Yellowed,
			needs:   func(v view) bool { return v.bare > 0.2 },
			speaks:  []reading{{func(v view) bool { return v.bare > 0.2 }, "thin or pale rice round about"}},
			lookFor: "water or soil between the plants",
		},
	}
}

// ThinCauses are those of ground that is thinner than the rest of its check.
func ThinCauses() Causes {
	strip := longStrip()
	return Causes{
		{
			name: "feeding from the edge", look: norm.Thinned,
			needs:   func(v view) bool { return v.border > 0.3 || v.levee > 0.3 },
			speaks:  []reading{alongEdge(), alongLevee(), raggedPatch()},
			against: []reading{strip},
			lookFor: "cut leaves, droppings and larvae, most at the edge; white birds feeding",
		},
		{
			name: "feeding in the open", look: norm.Thinned,
			speaks:  []reading{inTheOpen(), raggedPatch()},
			against: []reading{strip},
			lookFor: "ragged leaf edges, larvae on the plants or on the ground under them",
		},
		{
			name: "a seed skip", look: norm.Thinned, needs: view.strip,
			speaks:  []reading{strip},
			lookFor: "rows that never came up, straight along the drill",
		},
		{
			name: "a thin or drowned stand", look: norm.Thinned,
			speaks:  []reading{smoothPatch(), {func(v view) bool { return v.bare > 0.25 }, "thin or pale rice round about"}},
			lookFor: "few plants with whole leaves, and water between them",
		},
	}
}

// GapCauses are those of gaps in a young stand.
func GapCauses() Causes {
	strip := longStrip()
	return Causes{
		{
			name: "a seed skip", look: norm.Thinned, needs: view.strip,
			speaks:  []reading{strip},
			lookFor: "a row unit or a pass without seed, straight along the drill",
		},
		{
			name: "washed or puddled ground", look: norm.Thinned,
			speaks: []reading{alongLevee(), smoothPatch()}, against: []reading{strip},
			lookFor: "crusted or silted soil, seed on top, water standing",
		},
		{
			name: "birds, hogs or crawfish", look: norm.Thinned,
			speaks: []reading{alongEdge(), raggedPatch()}, against: []reading{strip},
			lookFor: "rooting, trails, pulled seedlings, most near woods or water",
		},
	}
}

// WaterCauses are those of dry and of wet ground under a flood.
func WaterCauses() Causes {
	return Causes{
		{
			name: "high ground", look: norm.Thinned, speaks: []reading{smoothPatch(), inTheOpen()},
			lookFor: "soil above the water, cracked or crusted; weeds come there first",
		},
		{
			name: "a leak or a lost flood", look: norm.Thinned,
			needs:   func(v view) bool { return v.levee > 0.3 || v.border > 0.3 },
			speaks:  []reading{alongLevee(), alongEdge()},
			lookFor: "a cut, a hole or a soft place in the levee, and wet ground behind it",
		},
		{
			name: "deep or open water", look: norm.Drowned, speaks: []reading{smoothPatch(), alongLevee()},
			lookFor: "rice under water or lying on it, at the low side",
		},
	}
}

// RipeCauses are those of ground that is ahead of its check, or behind.
func RipeCauses() Causes {
	strip := longStrip()
	return Causes{
		{
			name: "weeds above the canopy", look: norm.Lush, speaks: []reading{raggedPatch(), inTheOpen()}, against: []reading{strip},
			lookFor: "green heads or crowns that stand above the rice and would go into the bin",
		},
		{
			name: "rice that is late", look: norm.Lush, speaks: []reading{smoothPatch(), alongLevee(), alongEdge()},
			lookFor: "milky grain where the rest is hard: cold water, thick or late tillers",
		},
		{
			name: "a double dose of fertiliser", look: norm.Lush, needs: view.strip, speaks: []reading{strip},
			lookFor: "tall green rice in a strip, lodged or about to",
		},
		{
			name: "drought, disease or lodging", look: norm.Ripened, speaks: []reading{smoothPatch(), raggedPatch()},
			lookFor: "light heads, whether rice lies down, dry soil",
		},
	}
}
