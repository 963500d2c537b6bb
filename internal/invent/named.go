package invent

import (
	"fmt"
	"math"
	"slices"
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
	names := []string{"plain", "plain-clean", "believable", "clean", "demo"}
	return append(names, variants()...)
}

// variants are the believable scenes with one thing more.
func variants() []string {
	return []string{
		"shade", "dark", "faint", "lush", "straight", "no-levees", "cloud", "broken", "skip", "killed", "before",
		"skips", "skips-lines", "lines", "lines-clean", "untreated", "no-nitrogen", "drift", "fan", "levee-weeds",
		"traps", "traps-clean", "defoliation", "two-dates", "nitrogen",
	}
}

// Named returns a scene by its name.
func Named(name string, sensor Sensor, seed uint64) (Scene, error) {
	switch name {
	case "plain":
		return Plain(sensor, seed), nil
	case "clean":
		return Clean(sensor, seed), nil
	case "demo":
		return Demo(seed), nil
	}
	s := Believable(sensor, seed)
	d := dice{seed: sub(seed, 510)}
	switch {
	case name == "believable":
		return s, nil
	case name == "plain-clean":
		s = Plain(sensor, seed)
		s.Weeds = Weeds{}
	case slices.Contains(variants(), name):
		s.vary(name, &d)
	default:
		return Scene{}, fmt.Errorf("no invented scene is called %q: choose from %s", name, strings.Join(Names(), ", "))
	}
	s.Name = fmt.Sprintf("%s %v %d", name, sensor, seed)
	return s, nil
}

// vary makes a believable scene one of the variants.
func (s *Scene) vary(name string, d *dice) {
	switch name {
	case "shade":
		s.TreeShade = 1
	case "dark":
		s.TreeShade, s.CloudShade, s.Noise = 1, 1, 1.3
	case "faint":
		s.Weeds.Light, s.Weeds.Heavy = 0.08, 0.16
	case "lush":
		s.Weeds.Light, s.Weeds.Heavy, s.Weeds.Burn = 0.25, 0.65, 0.08
	case "straight":
		s.Levees = Straight
	case "no-levees":
		s.Levees = NoLevees
	case "cloud":
		s.CloudShade = 1
	case "broken":
		s.BrokenLevees, s.GrassyLevees = 1.7, 1
	case "levee-weeds":
		s.LeveeWeeds = d.u(0.8, 1)
	case "drift":
		s.Drift = d.u(0.8, 1)
	case "fan":
		s.Fan = d.u(0.8, 1)
	case "killed":
		s.KilledAcres = 1.5
	case "before":
		s.KilledAcres, s.NewAcres = 1.5, 0.4
	case "skip":
		s.Skip = 0.8
	case "untreated", "no-nitrogen":
		s.SpacingM = d.u(40, 55)
		if name == "untreated" {
			s.Untreated = d.u(0.8, 1.1)
		} else {
			s.NoNitrogen = d.u(0.8, 1.1)
		}
	case "skips", "skips-lines", "lines", "lines-clean":
		s.varyLines(name, d)
	case "traps", "traps-clean":
		s.trap(d)
		if name == "traps-clean" {
			s.Weeds, s.KilledAcres = Weeds{}, 0
		}
	case "defoliation", "two-dates":
		s.Weeds = Weeds{Strays: s.Weeds.Strays}
		s.Defoliation = Trouble{Acres: d.u(1.2, 2.4), Patches: 7, Light: 0.25, Heavy: 0.6}
	case "nitrogen":
		s.Weeds = Weeds{Strays: s.Weeds.Strays}
		s.NitrogenShort = Trouble{Acres: d.u(1.5, 3), Patches: 5, Light: 0.6, Heavy: 1}
	}
}

// varyLines lays skips, mapping lines or both at the swath spacing.
func (s *Scene) varyLines(name string, d *dice) {
	heading := math.Mod(180+math.Round(d.u(0, 1))*90-s.AskewDeg+d.u(-15, 15), 180)
	skips := Skips{Strips: 4 + int(d.u(0, 3)), SwathFt: 65, HeadingDeg: heading}
	s.LineHeadingDeg, s.LineSpacingFt = math.Mod(heading+90+d.u(-35, 35), 180), d.u(56, 92)
	switch name {
	case "skips":
		s.Skips = skips
	case "skips-lines":
		s.Skips = skips
		s.LineHeadingDeg, s.LineSpacingFt, s.StripGain = heading, 130, 1.3
	default:
		s.LineHeadingDeg, s.LineSpacingFt, s.StripGain = heading, 65*math.Round(d.u(0.6, 2.4)), d.u(1.5, 2)
		if name == "lines-clean" {
			s.Weeds = Weeds{}
		}
	}
}

// trap puts in everything that looks like escapes, or spoils a picture, at once.
func (s *Scene) trap(d *dice) {
	s.KilledAcres = 0.5
	s.Lodged, s.Hogs, s.Flooding, s.TwoVarieties = d.u(0.3, 0.6), d.u(0.5, 1), d.u(0.5, 1), d.u(0.5, 1)
	s.LeveeWeeds, s.HazeGradient, s.WhiteBalance = d.u(0.5, 1), d.u(0.5, 1), d.u(0.4, 1)
	s.HotSpot, s.Glint, s.Seams, s.Ghosts = d.u(0.4, 1), d.u(0.5, 1), d.u(0.5, 1), d.u(0.3, 0.8)
	s.JPEGQuality, s.BandShift = 65+int(d.u(0, 15)), 1
	s.ThinStand, s.Seep, s.Tracks, s.PaleStrips, s.Pond = 1, 1, 1, 1, true
}

// Earlier is the flight of the same field on the day of treatment: its
// picture lies a step off its place, as a second flight's does.
func (s Scene) Earlier() Scene {
	d := dice{seed: sub(s.Seed, 520)}
	s.Name += ", before"
	s.Before, s.ShiftE, s.ShiftN = true, d.u(-2, 2), d.u(-2, 2)
	s.CloudShade, s.Haze = 0.6*d.u(0, 1), d.u(0.2, 1)
	return s
}

// An Entry is one scene of the bench.
type Entry struct {
	Class    string
	Question string // what is asked of it: escapes, insects, nitrogen
	Sensor   Sensor
	Seed     uint64
	Pair     bool // with the flight before, see [Scene.Earlier]
}

// Scene is the entry's recipe.
func (e Entry) Scene() (Scene, error) { return Named(e.Class, e.Sensor, e.Seed) }

// Bench is the frozen table of scenes. Parameters of the stages are chosen on
// odd seeds and reported on even ones: every seed is first plus an even number.
func Bench(first uint64) []Entry {
	const (
		c = ColorJPEGLike8
		n = ColorNIR8
		f = FourBand16
		v = FiveBandFloat
	)
	var out []Entry
	add := func(class, question string, pair bool, from uint64, sensors ...Sensor) {
		for k, s := range sensors {
			out = append(out, Entry{class, question, s, first + from + 2*uint64(k), pair})
		}
	}
	add("believable", "escapes", false, 0, c, c, n, n, f, f, v, v)
	add("clean", "escapes", false, 20, c, n, f, v)
	add("faint", "escapes", false, 40, c, n, f, v)
	add("killed", "escapes", false, 60, c, n, f, v)
	add("no-levees", "escapes", false, 80, v, c)
	add("straight", "escapes", false, 84, f)
	add("shade", "escapes", false, 86, n)
	add("plain", "escapes", false, 88, f, c, n, v)
	add("plain-clean", "escapes", false, 96, f, c)
	add("dark", "escapes", false, 100, n, c)
	add("broken", "escapes", false, 106, c, f)
	add("lush", "escapes", false, 110, f, c)
	add("traps", "escapes", false, 114, c, n, f, v)
	add("traps-clean", "escapes", false, 122, c, f)
	add("defoliation", "insects", false, 130, f, v, c)
	add("two-dates", "insects", true, 136, f, c)
	add("nitrogen", "nitrogen", false, 140, f, v, n)
	add("before", "escapes", true, 150, f, c, v)
	add("skips", "escapes", false, 160, f, c, v)
	add("skips-lines", "escapes", false, 166, f)
	add("lines", "escapes", false, 170, f, c)
	add("lines-clean", "escapes", false, 174, f, v)
	add("untreated", "escapes", false, 180, f, c)
	add("no-nitrogen", "escapes", false, 184, f, v)
	add("drift", "escapes", false, 190, f, c)
	add("fan", "escapes", false, 194, f, v)
	add("levee-weeds", "escapes", false, 200, f, c)
	return out
}
