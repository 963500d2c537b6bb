package app

import (
	"fmt"

	"bittern/internal/structure"
	"bittern/internal/unit"
)

// A Part is what can be said once a stage is done, before the day is whole.
type Part struct {
	Stage string   `json:"stage"`
	Says  []string `json:"says"`
}

// say hands a part to whoever watches.
func (r *run) say(stage string, sentences ...string) {
	if r.set.Part != nil {
		r.set.Part(Part{Stage: stage, Says: sentences})
	}
}

// sayPicture says what the picture is.
func (r *run) sayPicture() {
	r.say("picture", fmt.Sprintf("The picture has %s; a pixel is %.1f inches on the ground.", r.flight.Sensor, float64(unit.Meters(r.flight.PixelM).Feet())*12))
}

// sayGround says what of the field was looked at.
func (r *run) sayGround() {
	looked, all := 0, 0
	for i, in := range r.inside {
		if in {
			all++
			if r.layout.Reason[i] == structure.LookedAt {
				looked++
			}
		}
	}
	acre := r.grid.AcresPerCell
	r.say("ground", fmt.Sprintf("%s; %s of %s looked at, the rest is levees, water, tracks and edges.",
		unit.Sentence(plural(len(r.layout.Checks), "check", "checks")),
		r.units.AreaNumber(unit.Acres(float64(looked)*acre)), r.units.Area(unit.Acres(float64(all)*acre))))
}

// saySuspects says how many patches stand out.
func (r *run) saySuspects() {
	acres := 0.0
	for _, s := range r.finding.Suspects {
		acres += s.Acres
	}
	if len(r.finding.Suspects) == 0 {
		r.say("suspects", "Nothing stands out so far.")
		return
	}
	r.say("suspects", fmt.Sprintf("%s out, %s.", unit.Sentence(plural(len(r.finding.Suspects), "patch stands", "patches stand")), r.units.Area(unit.Acres(acres))))
}
