package invent

import (
	"fmt"
	"strings"
)

// Plain is a field without a nuisance: even stand, green banks, no noise.
// One careless rule solves it; it is there to show what a believable scene
// adds.
func Plain(sensor Sensor, seed uint64) Scene {
	return Scene{
		Name: fmt.Sprintf("plain %v %d", sensor, seed), Seed: seed, Acres: 22, PixelM: 0.06,
		Sensor: sensor, Levees: Contour,
		Weeds: Weeds{Acres: 1.4, Patches: 5, Light: 0.65, Heavy: 0.85, Burn: 0.97},
	}
}

// Believable is a field with everything that makes a real one hard but killed
// weeds: see the package's page in docs/methods. The seed also chooses size, pixel, levees
// and heading.
func Believable(sensor Sensor, seed uint64) Scene {
	d := dice{seed: sub(seed, 500)}
	s := Scene{
		Name: fmt.Sprintf("believable %v %d", sensor, seed), Seed: seed, Sensor: sensor,
		Acres: d.u(20, 30), PixelM: d.u(0.05, 0.08), Levees: Contour, SpacingM: d.u(45, 85),
		AskewDeg: d.u(-12, 12), FlownDays: 8 + int(d.u(0, 6)),
		Weeds: Weeds{Acres: d.u(0.7, 1.9), Patches: 6 + int(d.u(0, 6)), Light: 0.15, Heavy: 0.55, Strays: d.u(0.5, 1.5)},

		StandVariation: d.u(0.7, 1.1), BareSoil: d.u(0.7, 1.1), DeadLeaf: d.u(0.6, 1.2), ThinStand: d.u(0.6, 1),
		PaleStrips: d.u(0.4, 1), Seep: d.u(0.5, 1), Rows: d.u(0.6, 1), Tracks: d.u(0.6, 1),
		GrassyLevees: d.u(0.7, 1), BrokenLevees: d.u(0.5, 0.9), BorrowDitches: d.u(0.7, 1), DitchWeeds: d.u(0.5, 1),
		Road: true, Ditch: true, Pond: d.chance(0.5), PumpPad: true,
		TreeShade: max(0, d.u(-0.35, 0.85)), CloudShade: 0.6 * d.u(0, 1),
		Noise: d.u(0.8, 1.3), BlurPx: d.u(0.45, 0.75), BandShift: d.u(0.5, 1), StripGain: d.u(0.6, 1.1),
		Haze: d.u(0.2, 1), Vignette: d.u(0.4, 1), HandDrawnM: d.u(1, 2.5),
	}
	if d.chance(0.25) {
		s.Levees = Straight
	}
	if d.chance(0.3) {
		s.RotateDeg = d.u(-8, 8)
	}
	s.Collar = d.chance(0.5)
	return s
}

// Clean is a believable field without a weed, dead or alive: whatever is
// reported there is false.
func Clean(sensor Sensor, seed uint64) Scene {
	s := Believable(sensor, seed)
	s.Name = fmt.Sprintf("clean %v %d", sensor, seed)
	s.Weeds, s.KilledAcres = Weeds{}, 0
	return s
}

// Demo is the field of the demonstration: a large contour field flown with
// four bands, with patches of many sizes.
func Demo(seed uint64) Scene {
	s := Believable(FourBand16, seed)
	s.Name = "demo"
	s.Acres, s.PixelM, s.Levees, s.SpacingM, s.RotateDeg = 80, 0.10, Contour, 75, 0
	s.AskewDeg, s.Collar = -4, true
	s.FlownDays = 10
	s.Weeds = Weeds{Acres: 4.6, Patches: 9, Light: 0.15, Heavy: 0.5, Strays: 1}
	s.KilledAcres = 1.2
	s.Pond, s.CloudShade, s.TreeShade = true, 0.3, 0.5
	return s
}

// Names lists what [Named] knows.
func Names() []string {
	return []string{"plain", "believable", "clean", "demo", "shade", "faint", "straight", "no-levees", "cloud", "skip", "killed"}
}

// Named returns a scene by its name.
func Named(name string, sensor Sensor, seed uint64) (Scene, error) {
	s := Believable(sensor, seed)
	switch name {
	case "plain":
		return Plain(sensor, seed), nil
	case "believable":
	case "clean":
		return Clean(sensor, seed), nil
	case "demo":
		return Demo(seed), nil
	case "shade":
		s.TreeShade = 1
	case "faint":
		s.Weeds.Light, s.Weeds.Heavy = 0.08, 0.16
	case "straight":
		s.Levees = Straight
	case "no-levees":
		s.Levees = NoLevees
	case "cloud":
		s.CloudShade = 1
	case "killed":
		s.KilledAcres = 0.8
	case "skip":
		s.Skip = 0.8
	default:
		return Scene{}, fmt.Errorf("no invented scene is called %q: choose from %s", name, strings.Join(Names(), ", "))
	}
	s.Name = fmt.Sprintf("%s %v %d", name, sensor, seed)
	return s, nil
}
