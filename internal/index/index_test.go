package index_test

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os/exec"
	"strconv"
	"strings"
	"testing"

	"bittern/internal/index"
	"bittern/internal/oracle"
)

// published is the table T1.1 of worked values, computed by a program of its
// own from the formulas as they were published (docs/references.md, T1).
const published = `name,B,G,R,E,N,ndvi,gndvi,ndre,savi,osavi,msavi2,bndvi,exg,exr,exgr,vari,gli,ngrdi,cigreen,cire,ndwi
canopy,0.04,0.08,0.05,0.20,0.45,0.80000,0.69811,0.38462,0.60000,0.60606,0.62984,0.83673,0.41176,-0.05882,0.47059,0.33333,0.28000,0.23077,4.62500,1.25000,-0.69811
lowN,0.05,0.11,0.07,0.22,0.40,0.70213,0.56863,0.29032,0.51031,0.52381,0.51270,0.77778,0.43478,-0.05217,0.48696,0.30769,0.29412,0.22222,2.63636,0.81818,-0.56863
drysoil,0.08,0.12,0.16,0.20,0.24,0.20000,0.33333,0.09091,0.13333,0.14286,0.11742,0.50000,0.00000,0.28889,-0.28889,-0.20000,0.00000,-0.14286,1.00000,0.20000,-0.33333
water,0.06,0.05,0.03,0.025,0.02,-0.20000,-0.42857,-0.11111,-0.02727,-0.04762,-0.01889,-0.50000,0.07143,-0.05714,0.12857,1.00000,0.05263,0.25000,-0.60000,-0.20000,0.42857`

func TestIndicesAreAsPublished(t *testing.T) {
	rows, err := csv.NewReader(strings.NewReader(published)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	seen := map[string]bool{}
	for _, row := range rows[1:] {
		v := index.Values{Blue: number(row[1]), Green: number(row[2]), Red: number(row[3]), RedEdge: number(row[4]), NIR: number(row[5])}
		for i, name := range rows[0][6:] {
			x, ok := index.Named(name)
			if !ok {
				t.Fatalf("there is no %s", name)
			}
			seen[name] = true
			if got, want := x.Value(v), number(row[6+i]); !(math.Abs(got-want) <= 1e-5) {
				t.Errorf("%s of %s is %.6f, want %.5f", name, row[0], got, want)
			}
		}
	}
	if len(seen) != len(index.Names()) {
		t.Errorf("%d of %d indices were compared", len(seen), len(index.Names()))
	}
}

func TestIndicesHaveNoValueWhereTheyHaveNoMeaning(t *testing.T) {
	for _, x := range index.All() {
		if v := x.Value(index.Values{}); !math.IsNaN(v) && !x.Absolute {
			t.Errorf("%s of a black pixel is %g", x.Name, v)
		}
		below := index.Values{Blue: -1, Green: -1, Red: -1, RedEdge: -1, NIR: -1}
		if v := x.Value(below); !math.IsNaN(v) {
			t.Errorf("%s of a pixel below 0 is %g", x.Name, v)
		}
		lacking := index.Values{Blue: math.NaN(), Green: math.NaN(), Red: math.NaN(), RedEdge: math.NaN(), NIR: math.NaN()}
		if v := x.Value(lacking); !math.IsNaN(v) {
			t.Errorf("%s of a pixel without data is %g", x.Name, v)
		}
	}
	vari, _ := index.Named("vari")
	if v := vari.Value(index.Values{Green: 0.25, Red: 0.5, Blue: 0.75}); !math.IsNaN(v) {
		t.Errorf("VARI with a divisor of 0 is %g", v)
	}
}

// TestColorsAreThePublishedMap compares the ramp with OpenCV's copy of the
// published map.
func TestColorsAreThePublishedMap(t *testing.T) {
	python := oracle.Python(t, "cv2", "numpy")
	out, err := exec.CommandContext(t.Context(), python, "-c", `import cv2, json, numpy
g = numpy.arange(256, dtype=numpy.uint8).reshape(-1, 1)
print(json.dumps(cv2.applyColorMap(g, cv2.COLORMAP_CIVIDIS)[:, 0, ::-1].tolist()))`).Output()
	if err != nil {
		t.Fatal(err)
	}
	var want [256][3]uint8
	if err := json.Unmarshal(out, &want); err != nil {
		t.Fatal(err)
	}
	if got := index.Colors(); got != want {
		t.Errorf("the ramp is %v, want %v", got, want)
	}
}
