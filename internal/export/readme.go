package export

import (
	"fmt"
	"slices"
	"strings"

	"bittern/internal/block"
	"bittern/internal/geo"
	"bittern/internal/unit"
)

// readMe is the text beside the guidance files. moved is how far in ground
// metres an outline moved to have few corners.
func (g *Guidance) readMe(moved float64) string {
	var b strings.Builder
	say := func(format string, a ...any) { fmt.Fprintf(&b, format+"\n", a...) }
	plan := g.plan()
	say("%s: blocks for %s", g.Field, g.Applicator)
	say("Revision %d. Read-back code %s. It must equal the code on the job sheet.", g.Revision, g.Code)
	if g.Flown != "" {
		say("Picture taken %s.", g.Flown)
	}
	if !g.Pinned {
		say("UNPINNED: the picture was not pinned to marks on the ground. It may lie some feet off; check a corner of the field before you start.")
	}
	say("")
	say("Coordinates: longitude and latitude in degrees, WGS84 (EPSG:4326).")
	if g.byHand() {
		say("Patches to treat on foot: %d, %s. The largest is P1.", len(g.patches().Features), g.Units.Area(unit.Acres(plan.TreatedAcres)))
		g.sayDry(say)
		g.sayLast(say)
		return b.String()
	}
	say("Blocks: %d, %s; with the valve open %s.", len(plan.Blocks), g.Units.Area(unit.Acres(plan.BlockAcres)), g.Units.Area(unit.Acres(plan.ValveOnAcres)))
	for _, blk := range plan.Blocks {
		c := g.Grid.LonLat(geo.MultiPolygon{blk.Outline}.Inside())
		say("  B%s  %s  %s  heading %.0f degrees  inside it: %.5f, %.5f (latitude, longitude)",
			blk.ID, g.Units.Area(unit.Acres(blk.Acres)), counted(len(blk.Runs), "run"), blk.HeadingDeg, c.Y, c.X)
	}
	g.sayOutlines(say, moved)
	g.sayDry(say)
	g.sayLast(say)
	return b.String()
}

// sayLast says the cautions.
func (g *Guidance) sayLast(say func(string, ...any)) {
	if len(g.Cautions) > 0 {
		say("")
		say("Before you start:")
		for _, c := range g.Cautions {
			say("- %s", c)
		}
	}
	say("")
	if slices.ContainsFunc(g.Cautions, func(c string) bool { return strings.HasPrefix(c, "The label is the law") }) {
		say("A licensed applicator decides whether and how to apply.")
		return
	}
	say("The label is the law. A licensed applicator decides whether and how to apply. Local rules come first.")
}

func counted(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

func (g *Guidance) sayOutlines(say func(string, ...any), moved float64) {
	switch {
	case g.Kind == block.GroundRig && g.GallonsPerAcre != nil:
		say("RATE is carrier in gallons an acre, as typed: %s.", unit.Number(*g.GallonsPerAcre, 1))
	case g.Kind == block.GroundRig:
		say("RATE is empty: no carrier rate was typed.")
	case moved > 0:
		say("Outlines have at most %d corners and keep their acres; to get there no outline moved more than %s.",
			maxCorners, g.Units.Length(unit.Meters(moved+0.15)))
	default:
		say("Outlines are as the blocks were cut, with at most %d corners.", maxCorners)
	}
}

func (g *Guidance) sayDry(say func(string, ...any)) {
	say("")
	if len(g.DoNotSpray) == 0 {
		say("Do not spray: NONE ENTERED, not surveyed. Look before you start.")
		return
	}
	say("Do not spray, as the user marked it; nothing else was surveyed:")
	for _, f := range g.dry().Features {
		var who []string
		for _, key := range []string{"mark", "who"} {
			if text := f.Properties.Text(key); text != "" {
				who = append(who, text)
			}
		}
		v, _ := f.Properties.Number("acres")
		say("  %s  %s  %s", f.Properties.Text("name"), g.Units.Area(unit.Acres(v)), strings.Join(who, ", "))
	}
}
