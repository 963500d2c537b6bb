package typed

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	toml "github.com/pelletier/go-toml/v2"

	"bittern/internal/block"
	"bittern/internal/job"
	"bittern/internal/norm"
	"bittern/internal/reckon"
)

type pricesFile struct {
	Crop    *float64           `toml:"crop_dollars_per_bushel"`
	Yield   *float64           `toml:"yield_bushels_per_acre"`
	Loss    *float64           `toml:"loss_percent"`
	Control *float64           `toml:"control_percent"`
	ByLook  map[string]float64 `toml:"loss"`
}

// ReadPrices reads a prices file.
func ReadPrices(path string) (reckon.Prices, error) {
	data, err := read(path)
	if err != nil {
		return reckon.Prices{}, err
	}
	return Prices(path, data)
}

// Prices reads a prices file's contents; name is what it is called in problems.
func Prices(name string, data []byte) (reckon.Prices, error) {
	var f pricesFile
	if err := decode(name, data, &f); err != nil {
		return reckon.Prices{}, err
	}
	at := place{name: name, data: data}
	if err := at.check([]figure{
		{"crop_dollars_per_bushel", f.Crop, 0, 1000, true},
		{"yield_bushels_per_acre", f.Yield, 0, 1000, true},
		{"loss_percent", f.Loss, 0, 100, false},
		{"control_percent", f.Control, 0, 100, true},
	}); err != nil {
		return reckon.Prices{}, err
	}
	byLook, err := lossByLook(place{name: name, data: data, table: "loss"}, f.ByLook)
	if err != nil {
		return reckon.Prices{}, err
	}
	return reckon.Prices{
		CropDollarsPerBushel: f.Crop, YieldBushelsPerAcre: f.Yield,
		LossPercent: f.Loss, LossByLook: byLook, ControlPercent: f.Control,
	}, nil
}

// looks are what a loss may be typed for.
func looks() []string {
	return []string{
		string(norm.Browned), string(norm.Yellowed), string(norm.Thinned), string(norm.Drowned),
		string(norm.Ripened), string(norm.Lush), string(norm.Coarse), string(norm.Regrown),
	}
}

// lossByLook checks the table of losses; nil when there is none.
func lossByLook(at place, typed map[string]float64) (map[norm.Look]float64, error) {
	if len(typed) == 0 {
		return nil, nil //nolint:nilnil // no table is not an error: every loss is then loss_percent
	}
	out := make(map[norm.Look]float64, len(typed))
	for _, look := range slices.Sorted(maps.Keys(typed)) {
		if !slices.Contains(looks(), look) {
			return nil, at.refuse(look, look+" is no look", "use "+strings.Join(looks(), ", "))
		}
		percent := typed[look]
		if err := at.check([]figure{{look, &percent, 0, 100, false}}); err != nil {
			return nil, err
		}
		out[norm.Look(look)] = percent
	}
	return out, nil
}

type productsFile struct {
	Copied   any           `toml:"copied_from_label_on"` // a date, with or without quotation marks
	Carrier  *float64      `toml:"carrier_gallons_per_acre"`
	Products []productFile `toml:"product"`
}

type productFile struct {
	Name         string   `toml:"name"`
	Registration string   `toml:"registration"`
	Rate         *float64 `toml:"rate"`
	RateUnit     string   `toml:"rate_unit"`
	Dollars      *float64 `toml:"dollars_per_unit"`
	Max          *float64 `toml:"max_per_season"`
	REI          *float64 `toml:"rei_hours"`
	PHI          *float64 `toml:"phi_days"`
}

// ReadProducts reads a products file.
func ReadProducts(path string) (job.Mix, error) {
	data, err := read(path)
	if err != nil {
		return job.Mix{}, err
	}
	return Products(path, data)
}

// Products reads a products file's contents.
func Products(name string, data []byte) (job.Mix, error) {
	var f productsFile
	if err := decode(name, data, &f); err != nil {
		return job.Mix{}, err
	}
	at := place{name: name, data: data}
	if err := at.check([]figure{{"carrier_gallons_per_acre", f.Carrier, 0, 1000, true}}); err != nil {
		return job.Mix{}, err
	}
	copied, err := date(at, "copied_from_label_on", f.Copied)
	if err != nil {
		return job.Mix{}, err
	}
	m := job.Mix{CopiedFromLabelOn: copied, CarrierGallonsPerAcre: f.Carrier}
	for i, p := range f.Products {
		q, err := p.product(place{name: name, data: data, table: "product", nth: i})
		if err != nil {
			return job.Mix{}, err
		}
		m.Products = append(m.Products, q)
	}
	return m, nil
}

// product checks one product.
func (p productFile) product(at place) (job.Product, error) {
	if err := at.check([]figure{
		{"rate", p.Rate, 0, 1e5, true},
		{"dollars_per_unit", p.Dollars, 0, 1e6, false},
		{"max_per_season", p.Max, 0, 1e6, true},
		{"rei_hours", p.REI, 0, 8760, false},
		{"phi_days", p.PHI, 0, 1000, false},
	}); err != nil {
		return job.Product{}, err
	}
	if p.RateUnit != "" {
		if _, _, err := job.ParseRateUnit(p.RateUnit); err != nil {
			return job.Product{}, at.refuse("rate_unit", fmt.Sprintf("rate_unit %q is not known", p.RateUnit),
				"write one of "+strings.Join(job.Units(), ", ")+", followed by /ac or /ha")
		}
	} else if p.Rate != nil {
		return job.Product{}, at.refuse("rate", "the rate has no rate_unit", `write one, as rate_unit = "qt/ac"`)
	}
	return job.Product{
		Name: p.Name, Registration: p.Registration, Rate: p.Rate, RateUnit: p.RateUnit,
		DollarsPerUnit: p.Dollars, MaxPerSeason: p.Max, REIHours: p.REI, PHIDays: p.PHI,
	}, nil
}

// date reads a day, in quotation marks or not; "" when it is not given.
func date(at place, key string, v any) (string, error) {
	switch d := v.(type) {
	case nil:
		return "", nil
	case toml.LocalDate:
		return d.String(), nil
	case string:
		if d == "" {
			return "", nil
		}
		if _, err := time.Parse(time.DateOnly, d); err == nil {
			return d, nil
		}
	}
	return "", at.refuse(key, key+" is no day", `write it as "2026-06-30"`)
}

type applicatorFile struct {
	Name     string      `toml:"name"`
	Kind     string      `toml:"kind"`
	Swath    *float64    `toml:"swath_ft"`
	Speed    *float64    `toml:"speed_mph"`
	Lead     *float64    `toml:"lead_ft"`
	Trail    *float64    `toml:"trail_ft"`
	MinOpen  *float64    `toml:"minimum_open_s"`
	Gap      *float64    `toml:"bridge_gap_s"`
	Turn     *float64    `toml:"turn_s"`
	Ferry    *float64    `toml:"ferry_miles"`
	Tank     *float64    `toml:"tank_gallons"`
	NotFlown [][]float64 `toml:"headings_not_flown_deg"`
	Charge   chargeFile  `toml:"charge"`
}

type chargeFile struct {
	PerAcre *float64 `toml:"per_acre_dollars"`
	Minimum *float64 `toml:"minimum_acres"`
	CallOut *float64 `toml:"call_out_dollars"`
	PerHour *float64 `toml:"per_hour_dollars"`
}

// ReadApplicator reads an applicator file.
func ReadApplicator(path string) (block.Applicator, error) {
	data, err := read(path)
	if err != nil {
		return block.Applicator{}, err
	}
	return Applicator(path, data)
}

// Applicator reads an applicator file's contents.
func Applicator(name string, data []byte) (block.Applicator, error) {
	var f applicatorFile
	if err := decode(name, data, &f); err != nil {
		return block.Applicator{}, err
	}
	at := place{name: name, data: data}
	if err := at.check(f.figures()); err != nil {
		return block.Applicator{}, err
	}
	if err := (place{name: name, data: data, table: "charge"}).check(f.Charge.figures()); err != nil {
		return block.Applicator{}, err
	}
	kind, err := kindOf(at, f.Kind)
	if err != nil {
		return block.Applicator{}, err
	}
	sectors, err := sectorsOf(at, f.NotFlown)
	if err != nil {
		return block.Applicator{}, err
	}
	return block.Applicator{
		Name: f.Name, Kind: kind, SwathFt: f.Swath, SpeedMph: f.Speed, LeadFt: f.Lead, TrailFt: f.Trail,
		MinimumOpenS: f.MinOpen, BridgeGapS: f.Gap, TurnS: f.Turn, FerryMiles: f.Ferry, TankGallons: f.Tank,
		NotFlown: sectors,
		Charge: block.Charge{
			PerAcreDollars: f.Charge.PerAcre, MinimumAcres: f.Charge.Minimum,
			CallOutDollars: f.Charge.CallOut, PerHourDollars: f.Charge.PerHour,
		},
	}, nil
}

// figures are the ranges in which an applicator's figures can be meant.
func (f applicatorFile) figures() []figure {
	return []figure{
		{"swath_ft", f.Swath, 1, 400, false},
		{"speed_mph", f.Speed, 0, 300, true},
		{"lead_ft", f.Lead, 0, 2000, false},
		{"trail_ft", f.Trail, 0, 2000, false},
		{"minimum_open_s", f.MinOpen, 0, 120, false},
		{"bridge_gap_s", f.Gap, 0, 120, false},
		{"turn_s", f.Turn, 0, 3600, false},
		{"ferry_miles", f.Ferry, 0, 500, false},
		{"tank_gallons", f.Tank, 0, 10000, true},
	}
}

func (f chargeFile) figures() []figure {
	return []figure{
		{"per_acre_dollars", f.PerAcre, 0, 10000, false},
		{"minimum_acres", f.Minimum, 0, 100000, false},
		{"call_out_dollars", f.CallOut, 0, 1e6, false},
		{"per_hour_dollars", f.PerHour, 0, 1e6, false},
	}
}

// kindOf checks the kind; empty when it is not given.
func kindOf(at place, typed string) (block.Kind, error) {
	switch k := block.Kind(typed); k {
	case "", block.Aircraft, block.GroundRig, block.SprayDrone, block.ByHand:
		return k, nil
	}
	return "", at.refuse("kind", fmt.Sprintf("kind %q is not known", typed),
		fmt.Sprintf("write %q, %q, %q or %q", block.Aircraft, block.GroundRig, block.SprayDrone, block.ByHand))
}

// sectorsOf checks the sectors of headings that are not flown.
func sectorsOf(at place, typed [][]float64) ([][2]float64, error) {
	const key = "headings_not_flown_deg"
	var out [][2]float64
	for _, s := range typed {
		if len(s) != 2 {
			return nil, at.refuse(key, key+" holds something else than pairs", "write pairs, as [[80, 110]]")
		}
		for i := range s {
			if err := at.check([]figure{{key, &s[i], 0, 360, false}}); err != nil {
				return nil, err
			}
		}
		out = append(out, [2]float64{s[0], s[1]})
	}
	return out, nil
}
