package job

import (
	"crypto/sha256"
	"fmt"
	"io"
	"strconv"
	"strings"

	"bittern/internal/block"
)

// A State says whether an order may go out.
type State string

// The states.
const (
	Draft State = "draft"
	Ready State = "ready"
)

// An Order is what a job is made from.
type Order struct {
	Plan           block.Plan
	Applicator     block.Applicator
	Mix            Mix
	Revision       int                // given by the record; 1 is the first
	Known          Known              // what a person has settled
	Sensitive      []Sensitive        // for wind arcs
	ConvergenceDeg float64            // degrees clockwise from true north to grid north
	UsedThisSeason map[string]float64 // by product's name, in its rate's unit on these blocks; a missing name is not known
}

// Known is what a person has settled about a job. Each that is not is a reason
// why it is a draft.
type Known struct {
	Walked     bool // every suspect under the blocks was walked
	Pinned     bool // the picture was pinned to marks on the ground
	Hazards    bool // hazards were entered, or that there are none
	Neighbours bool // sensitive ground was entered, or that there is none
	WindLimit  bool // the label's wind limit was typed
}

// A Line is one product's amounts.
type Line struct {
	Product Product
	PerAcre *Amount // nil when rate or unit is not given
	Total   *Amount
	PerLoad *Amount // nil also when the loads are not known
}

// A Limit is what is known of a product's season limit.
type Limit struct {
	Product string
	Says    string
	Max     *float64 // as typed, in the rate's unit
	Used    *float64 // before this job; nil when not known
	Left    *float64 // after this job; below 0 is over; nil when not known
	Breach  bool     // this job is over the limit, or over what is left
}

// A BlockWind is the winds not allowed for one block.
type BlockWind struct {
	Block   string
	NotFrom []Arc // empty when no sensitive ground was entered for it
}

// A Job is one order to an applicator.
type Job struct {
	State            State
	WhyDraft         []string // one short sentence each; empty when ready
	Revision         int
	Code             string // six characters to read back over the phone
	Products         []Line // in mixing order
	Acres            float64
	Gallons          *float64 // of mix; nil when the carrier is not given
	Loads            *Loads   // nil when carrier or tank is not given
	AcresPerMinute   *float64
	GallonsPerMinute *float64
	REIHours         *float64
	PHIDays          *float64
	Limits           []Limit
	Winds            []BlockWind // in the order of the blocks
}

// Make works out an order. It never fails: what is missing makes it a draft
// and is said.
func Make(o Order) Job {
	j := Job{
		Revision: o.Revision, Code: Code(o.Plan, o.Mix), Acres: o.Plan.ValveOnAcres,
		REIHours: o.Mix.REIHours(), PHIDays: o.Mix.PHIDays(),
	}
	j.flow(o)
	for _, p := range o.Mix.Products {
		j.Products = append(j.Products, j.line(p))
		j.Limits = append(j.Limits, limit(p, o.UsedThisSeason))
	}
	for _, b := range o.Plan.Blocks {
		j.Winds = append(j.Winds, BlockWind{b.ID, WindNotFrom(b, o.Sensitive, o.ConvergenceDeg)})
	}
	j.WhyDraft = o.whyDraft(j.Limits)
	j.State = Ready
	if len(j.WhyDraft) > 0 {
		j.State = Draft
	}
	return j
}

// flow works out carrier, loads and flow.
func (j *Job) flow(o Order) {
	a, rate := o.Applicator, o.Mix.CarrierGallonsPerAcre
	if a.SpeedMph != nil && a.SwathFt != nil {
		v := AcresPerMinute(*a.SpeedMph, *a.SwathFt)
		j.AcresPerMinute = &v
		if rate != nil {
			g := GallonsPerMinute(*rate, *a.SpeedMph, *a.SwathFt)
			j.GallonsPerMinute = &g
		}
	}
	if rate == nil {
		return
	}
	gallons := *rate * j.Acres
	j.Gallons = &gallons
	if a.TankGallons != nil {
		if l, ok := Balance(j.Acres, *rate, *a.TankGallons); ok {
			j.Loads = &l
		}
	}
}

// line works out one product's amounts.
func (j *Job) line(p Product) Line {
	l := Line{Product: p}
	rate, ok := p.PerAcre()
	if !ok {
		return l
	}
	total := Amount{rate.Value * j.Acres, rate.Unit}
	l.PerAcre, l.Total = &rate, &total
	if j.Loads != nil {
		each := Amount{rate.Value * j.Loads.Acres, rate.Unit}
		l.PerLoad = &each
	}
	return l
}

// limit checks this job's rate against the season limit as typed.
func limit(p Product, usedBy map[string]float64) Limit {
	l := Limit{Product: p.Name, Max: p.MaxPerSeason}
	if used, ok := usedBy[p.Name]; ok {
		l.Used = &used
	}
	switch {
	case p.MaxPerSeason == nil:
		l.Says = "the season limit is not typed"
	case p.Rate == nil:
		l.Says = "the rate is not typed"
	case l.Used == nil:
		l.Breach = *p.Rate > *p.MaxPerSeason
		l.Says = fmt.Sprintf("this job puts on %s of at most %s %s in a season; earlier use is not entered",
			figure(*p.Rate), figure(*p.MaxPerSeason), p.RateUnit)
	default:
		left := *p.MaxPerSeason - *l.Used - *p.Rate
		l.Left, l.Breach = &left, left < -1e-9
		l.Says = fmt.Sprintf("%s used before, this job puts on %s, %s %s left of %s in a season",
			figure(*l.Used), figure(*p.Rate), figure(left), p.RateUnit, figure(*p.MaxPerSeason))
		if l.Breach {
			l.Says = fmt.Sprintf("%s used before and %s in this job are over the %s %s of a season by %s",
				figure(*l.Used), figure(*p.Rate), figure(*p.MaxPerSeason), p.RateUnit, figure(-left))
		}
	}
	if l.Breach && l.Used == nil {
		l.Says = fmt.Sprintf("this job puts on %s, over the %s %s of a season", figure(*p.Rate), figure(*p.MaxPerSeason), p.RateUnit)
	}
	return l
}

// figure prints a typed number as short as it is exact, without the dust of
// binary fractions.
func figure(v float64) string {
	s := strings.TrimRight(strings.TrimRight(strconv.FormatFloat(v, 'f', 6, 64), "0"), ".")
	if s == "-0" {
		return "0"
	}
	return s
}

// whyDraft lists what is still open.
func (o Order) whyDraft(limits []Limit) []string {
	var why []string
	add := func(open bool, format string, a ...any) {
		if open {
			why = append(why, fmt.Sprintf(format, a...))
		}
	}
	add(len(o.Mix.Products) == 0, "No products were typed.")
	add(len(o.Mix.Products) > 0 && o.Mix.CopiedFromLabelOn == "", "The day on which the label was copied is not typed.")
	add(o.Mix.CarrierGallonsPerAcre == nil, "The carrier's gallons per acre are not typed.")
	for i, p := range o.Mix.Products {
		_, ok := p.PerAcre()
		add(!ok, "The rate of %s is not typed.", p.called(i))
		add(p.REIHours == nil, "The REI of %s is not typed.", p.called(i))
		add(p.PHIDays == nil, "The PHI of %s is not typed.", p.called(i))
	}
	for i, l := range limits {
		name := o.Mix.Products[i].called(i)
		add(l.Breach, "%s: %s.", name, l.Says)
		add(l.Max == nil, "The season limit of %s is not typed.", name)
		add(l.Max != nil && l.Used == nil && !l.Breach, "Earlier use of %s this season is not entered.", name)
	}
	add(!o.Known.Walked, "The suspects were not walked.")
	add(!o.Known.Pinned, "The picture was not pinned to the ground.")
	add(!o.Known.Hazards, "No hazards were entered.")
	add(!o.Known.Neighbours, "No sensitive neighbours were entered.")
	add(!o.Known.WindLimit, "The wind limit is not typed.")
	return why
}

// called is a product's name, or its place in the mix.
func (p Product) called(i int) string {
	if p.Name == "" {
		return "product " + strconv.Itoa(i+1)
	}
	return p.Name
}

// letters are what a read-back code is made of: none that is mistaken for
// another in print or over the phone (0 O Q D, 1 I L, 2 Z, 5 S, 6 G, 8 B, U V).
const letters = "3479ACEFHJKMNPRTWXY"

// Code is six characters that stand for the blocks and the mix: who reads back
// the same code holds the same order. It changes when an outline moves by a
// centimetre or a product by the last digit typed.
func Code(p block.Plan, m Mix) string {
	h := sha256.New()
	say := func(format string, a ...any) { _, _ = io.WriteString(h, fmt.Sprintf(format, a...)) } // a hash never fails
	say("%q %q %.1f\n", p.Applicator, p.Kind, p.HeadingDeg)
	for _, b := range p.Blocks {
		say("block %q\n", b.ID)
		for _, q := range b.Outline.Outer {
			say("%.2f %.2f\n", q.X, q.Y)
		}
	}
	if len(p.Blocks) == 0 {
		say("cells %v\n", p.Treated)
	}
	say("mix %q %s\n", m.CopiedFromLabelOn, typed(m.CarrierGallonsPerAcre))
	for _, q := range m.Products {
		say("%q %q %q", q.Name, q.Registration, q.RateUnit)
		for _, v := range []*float64{q.Rate, q.MaxPerSeason, q.REIHours, q.PHIDays} {
			say(" %s", typed(v))
		}
		say("\n")
	}
	code := make([]byte, 6)
	for i, b := range h.Sum(nil)[:6] {
		code[i] = letters[int(b)%len(letters)]
	}
	return string(code)
}

// typed is a figure as exactly as it is held, or a dash.
func typed(v *float64) string {
	if v == nil {
		return "-"
	}
	return strconv.FormatFloat(*v, 'g', -1, 64)
}
