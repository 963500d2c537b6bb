package typed_test

import (
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"bittern/internal/block"
	"bittern/internal/doubt"
	"bittern/internal/job"
	"bittern/internal/norm"
	"bittern/internal/reckon"
	"bittern/internal/typed"
)

func ptr(v float64) *float64 { return &v }

// The three files below are the agreed examples of typed files, word for word.
const (
	pricesText = `crop_dollars_per_bushel = 6.00
yield_bushels_per_acre = 170
loss_percent = 30            # of yield on that ground when left; or [loss] by look
control_percent = 85
`
	productsText = `copied_from_label_on = "2026-06-30"
carrier_gallons_per_acre = 10
[[product]]
name = "herbicide A"
registration = "000-000"
rate = 1.0
rate_unit = "qt/ac"          # oz, pt, qt, gal, lb, g, kg, L, mL per ac or ha
dollars_per_unit = 11.50
max_per_season = 2.0
rei_hours = 12
phi_days = 60
`
	applicatorText = `name = "plane"
kind = "aircraft"            # aircraft, ground rig, spray drone, by hand
swath_ft = 65
speed_mph = 145
lead_ft = 60
trail_ft = 60
minimum_open_s = 1.5
bridge_gap_s = 2.0
turn_s = 30
ferry_miles = 5
tank_gallons = 500
headings_not_flown_deg = [[80, 110]]
[charge]                     # any of: per_acre_dollars, minimum_acres, call_out_dollars, per_hour_dollars
per_acre_dollars = 12
minimum_acres = 30
`
)

func TestStatedExamplesAreRead(t *testing.T) {
	p, err := typed.Prices("prices.toml", []byte(pricesText))
	if want := (reckon.Prices{
		CropDollarsPerBushel: ptr(6), YieldBushelsPerAcre: ptr(170), LossPercent: ptr(30), ControlPercent: ptr(85),
	}); err != nil || !reflect.DeepEqual(p, want) {
		t.Errorf("prices %+v, %v", p, err)
	}
	m, err := typed.Products("products.toml", []byte(productsText))
	if want := (job.Mix{
		CopiedFromLabelOn: "2026-06-30", CarrierGallonsPerAcre: ptr(10),
		Products: []job.Product{{
			Name: "herbicide A", Registration: "000-000", Rate: ptr(1), RateUnit: "qt/ac", DollarsPerUnit: ptr(11.5),
			MaxPerSeason: ptr(2), REIHours: ptr(12), PHIDays: ptr(60),
		}},
	}); err != nil || !reflect.DeepEqual(m, want) {
		t.Errorf("products %+v, %v", m, err)
	}
	a, err := typed.Applicator("applicator.toml", []byte(applicatorText))
	if want := (block.Applicator{
		Name: "plane", Kind: block.Aircraft, SwathFt: ptr(65), SpeedMph: ptr(145), LeadFt: ptr(60), TrailFt: ptr(60),
		MinimumOpenS: ptr(1.5), BridgeGapS: ptr(2), TurnS: ptr(30), FerryMiles: ptr(5), TankGallons: ptr(500),
		NotFlown: [][2]float64{{80, 110}},
		Charge:   block.Charge{PerAcreDollars: ptr(12), MinimumAcres: ptr(30)},
	}); err != nil || !reflect.DeepEqual(a, want) {
		t.Errorf("applicator %+v, %v", a, err)
	}
	p, err = typed.Prices("prices.toml", []byte("[loss]\nbrowned = 30\nlush = 10\n"))
	if want := map[norm.Look]float64{norm.Browned: 30, norm.Lush: 10}; err != nil || !reflect.DeepEqual(p.LossByLook, want) {
		t.Errorf("losses %+v, %v", p.LossByLook, err)
	}
	m, err = typed.Products("products.toml", []byte("copied_from_label_on = 2026-06-30\n"))
	if err != nil || m.CopiedFromLabelOn != "2026-06-30" {
		t.Errorf("a date without quotation marks: %+v, %v", m, err)
	}
}

func TestBadFilesAreRefusedWithTheirLine(t *testing.T) {
	prices := func(n string, d []byte) error { _, err := typed.Prices(n, d); return err }
	products := func(n string, d []byte) error { _, err := typed.Products(n, d); return err }
	applicator := func(n string, d []byte) error { _, err := typed.Applicator(n, d); return err }
	sightings := func(n string, d []byte) error { _, err := typed.Sightings(n, d); return err }
	const header = "stop,suspect,lon,lat,time,found,state,note\n"
	for _, tc := range []struct {
		name  string
		parse func(string, []byte) error
		text  string
		wants []string // in the sentence
	}{
		{"unknown key", prices, "yield_bushels_per_acre = 170\ncrop_price = 6\n", []string{"line 2", "crop_price", "crop_dollars_per_bushel"}},
		{"unknown key in a table", applicator, "name = \"plane\"\n[charge]\nper_acre = 12\n", []string{"line 3", "charge.per_acre", "per_acre_dollars, minimum_acres"}},
		{"unknown key in a product", products, "[[product]]\nname = \"A\"\n[[product]]\nrei = 3\n", []string{"line 4", "product.rei", "rei_hours"}},
		{"wrong type", prices, "\ncrop_dollars_per_bushel = \"6\"\n", []string{"line 2", "crop_dollars_per_bushel", "wrong kind"}},
		{"words without quotation marks", applicator, "kind = aircraft\n", []string{"line 1", "quotation marks"}},
		{"no value", prices, "# note\nloss_percent =\n", []string{"line 2"}},
		{"twice", prices, "loss_percent = 1\nloss_percent = 2\n", []string{"line 2", "twice"}},
		{"negative", prices, "crop_dollars_per_bushel = 6\nyield_bushels_per_acre = -170\n", []string{"line 2", "yield_bushels_per_acre", "-170", "above 0"}},
		{"zero price", prices, "crop_dollars_per_bushel = 0\n", []string{"line 1", "above 0"}},
		{"over a hundred per cent", prices, "loss_percent = 130\n", []string{"line 1", "0 to 100"}},
		{"no number", prices, "loss_percent = nan\n", []string{"line 1", "loss_percent"}},
		{"endless", prices, "yield_bushels_per_acre = inf\n", []string{"line 1", "yield_bushels_per_acre"}},
		{"no look", prices, "[loss]\nbrowned = 3\npurple = 3\n", []string{"line 3", "purple", "browned, yellowed"}},
		{"loss of a look", prices, "loss_percent = 3\n[loss]\nbrowned = 300\n", []string{"line 3", "browned"}},
		{"rate unit", products, "[[product]]\nrate = 1\nrate_unit = \"cups/ac\"\n", []string{"line 3", "cups/ac", "/ha"}},
		{"rate without unit", products, "[[product]]\nname = \"A\"\nrate = 1\n", []string{"line 3", "rate_unit"}},
		{"second product", products, "[[product]]\nrate = 1\nrate_unit = \"qt/ac\"\n[[product]]\nrate = -1\nrate_unit = \"qt/ac\"\n", []string{"line 5", "rate", "-1"}},
		{"label day", products, "copied_from_label_on = \"June\"\n", []string{"line 1", "2026-06-30"}},
		{"kind", applicator, "kind = \"blimp\"\n", []string{"line 1", "blimp", "spray drone"}},
		{"swath in metres by mistake", applicator, "swath_ft = 0.3\n", []string{"line 1", "swath_ft"}},
		{"charge", applicator, "[charge]\nminimum_acres = -3\n", []string{"line 2", "minimum_acres"}},
		{"sector", applicator, "headings_not_flown_deg = [[80]]\n", []string{"line 1", "pairs"}},
		{"sector beyond the circle", applicator, "headings_not_flown_deg = [[80, 400]]\n", []string{"line 1", "360"}},
		{"list for a number", applicator, "swath_ft = [65]\n", []string{"line 1", "wrong kind"}},
		{"not text", prices, "\xff\xfe\x00", []string{"line 1"}},
		{"found", sightings, header + "1,A,,,,maybe,,\n", []string{"line 2", "maybe", "unsure"}},
		{"state", sightings, header + "1,A,,,,yes,,\n2,B,,,,no,asleep,\n", []string{"line 3", "asleep"}},
		{"longitude", sightings, header + ",A,-190,35,,yes,,\n", []string{"line 2", "-190"}},
		{"half a position", sightings, header + ",A,-90,,,yes,,\n", []string{"line 2", "lat"}},
		{"nowhere", sightings, header + ",,,,,yes,,\n", []string{"line 2"}},
		{"columns", sightings, "stop,suspect\n", []string{"line 1", "lon"}},
		{"unknown column", sightings, "stop,colour\n", []string{"line 1", "colour"}},
		{"few fields", sightings, header + "1,A\n", []string{"line 2", "8 fields"}},
		{"no header", sightings, "", []string{"empty"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			err := tc.parse("somewhere/it.toml", []byte(tc.text))
			var p *doubt.Problem
			if !errors.As(err, &p) || p.Kind != doubt.Input || p.File != "somewhere/it.toml" {
				t.Fatalf("got %v, want a problem of the input", err)
			}
			for _, want := range tc.wants {
				if !strings.Contains(err.Error(), want) {
					t.Errorf("%q does not say %q", err, want)
				}
			}
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("%q is more than a sentence", err)
			}
		})
	}
}

func TestBlanksReadAsNothingGiven(t *testing.T) {
	blank := func(name string) []byte {
		data, err := typed.Blank(name)
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	if p, err := typed.Prices("p", blank("prices")); err != nil || !reflect.DeepEqual(p, reckon.Prices{}) || len(p.Missing()) != 4 {
		t.Errorf("prices %+v, %v", p, err)
	}
	if m, err := typed.Products("p", blank("products")); err != nil || !reflect.DeepEqual(m, job.Mix{}) {
		t.Errorf("products %+v, %v", m, err)
	}
	if a, err := typed.Applicator("p", blank("applicator")); err != nil || !reflect.DeepEqual(a, block.Applicator{}) {
		t.Errorf("applicator %+v, %v", a, err)
	}
	if s, err := typed.Sightings("p", blank("sightings")); err != nil || len(s) != 0 {
		t.Errorf("sightings %+v, %v", s, err)
	}
	if _, err := typed.Blank("boots"); err == nil || !strings.Contains(err.Error(), "prices, applicator, products, sightings") {
		t.Errorf("an unknown blank: %v", err)
	}
}

func TestBlanksHoldEveryKeyAndNoFigure(t *testing.T) {
	// Each key with its # taken away and a value behind it must be read: the
	// blank and the reader agree on the keys, and nothing is left out of it.
	filled := map[string]string{
		"name": `"x"`, "kind": `"aircraft"`, "registration": `"000-000"`, "rate_unit": `"qt/ac"`,
		"copied_from_label_on": `"2026-06-30"`, "headings_not_flown_deg": "[[80, 110]]",
	}
	key := regexp.MustCompile(`(?m)^# ([a-z_]+) =(.*)$`)
	table := regexp.MustCompile(`(?m)^# (\[.*\])$`)
	for name, counts := range map[string]int{"prices": 4 + 8, "applicator": 12 + 4, "products": 2 + 8} {
		data, err := typed.Blank(name)
		if err != nil {
			t.Fatal(err)
		}
		text := string(data)
		if got := len(key.FindAllString(text, -1)); got != counts {
			t.Errorf("%s: %d keys, want %d", name, got, counts)
		}
		for _, m := range key.FindAllStringSubmatch(text, -1) {
			if m[2] != "" {
				t.Errorf("%s: a figure stands behind %s", name, m[1])
			}
		}
		text = table.ReplaceAllString(key.ReplaceAllStringFunc(text, func(line string) string {
			k := key.FindStringSubmatch(line)[1]
			v, ok := filled[k]
			if !ok {
				v = "1"
			}
			return k + " = " + v
		}), "$1")
		var got any
		switch name {
		case "prices":
			got, err = typed.Prices(name, []byte(text))
		case "applicator":
			got, err = typed.Applicator(name, []byte(text))
		case "products":
			got, err = typed.Products(name, []byte(text))
		}
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		noneNil(t, name, reflect.ValueOf(got))
	}
}

// noneNil fails for every figure of a filled file that did not arrive.
func noneNil(t *testing.T, path string, v reflect.Value) {
	t.Helper()
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			noneNil(t, path+"."+v.Type().Field(i).Name, v.Field(i))
		}
	case reflect.Slice:
		if v.Len() == 0 {
			t.Errorf("%s is empty", path)
		}
		for i := range v.Len() {
			noneNil(t, path, v.Index(i))
		}
	default:
		if v.IsZero() {
			t.Errorf("%s did not arrive", path)
		}
	}
}

func TestSightingsAreRead(t *testing.T) {
	text := "stop,suspect,lon,lat,time,found,state,note\n# a remark\n1,A,,,2026-07-15T09:30,yes,alive,\"tall, green\"\n,,-90.5,35.25,,No,,\n"
	got, err := typed.Sightings("s.csv", []byte(text))
	want := []typed.Sighting{
		{Line: 3, Stop: "1", Suspect: "A", Time: "2026-07-15T09:30", Found: "yes", State: "alive", Note: "tall, green"},
		{Line: 4, Lon: ptr(-90.5), Lat: ptr(35.25), Found: "no"},
	}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, %v", got, err)
	}
}

func TestFilesThatCannotBeReadAreProblems(t *testing.T) {
	dir := t.TempDir()
	big := filepath.Join(dir, "big.toml")
	if err := os.WriteFile(big, []byte(strings.Repeat("#\n", 1<<20)), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{dir, filepath.Join(dir, "none.toml"), big} {
		var p *doubt.Problem
		if _, err := typed.ReadPrices(path); !errors.As(err, &p) || p.File != path || p.Kind != doubt.Input {
			t.Errorf("%s: %v", path, err)
		}
		if _, err := typed.ReadSightings(path); !errors.As(err, &p) {
			t.Errorf("%s: %v", path, err)
		}
	}
	good := filepath.Join(dir, "p.toml")
	if err := os.WriteFile(good, []byte("\xef\xbb\xbf"+strings.ReplaceAll(pricesText, "\n", "\r\n")), 0o600); err != nil {
		t.Fatal(err)
	}
	if p, err := typed.ReadPrices(good); err != nil || len(p.Missing()) != 0 {
		t.Errorf("a file with a byte-order mark and Windows line ends: %+v, %v", p, err)
	}
}

func FuzzTypedFilesNeverPanic(f *testing.F) {
	for _, s := range []string{pricesText, productsText, applicatorText, "stop,suspect,lon,lat,time,found,state,note\n1,A,,,,yes,,\n"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		var p *doubt.Problem
		for _, parse := range []func() error{
			func() error { _, err := typed.Prices("f", data); return err },
			func() error { _, err := typed.Products("f", data); return err },
			func() error { _, err := typed.Applicator("f", data); return err },
			func() error { _, err := typed.Sightings("f", data); return err },
		} {
			if err := parse(); err != nil && !errors.As(err, &p) {
				t.Errorf("%v is no problem of the input", err)
			}
		}
	})
}
