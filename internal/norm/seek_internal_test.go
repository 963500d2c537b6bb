package norm

import (
	"math"
	"testing"

	"bittern/internal/stat"
)

func TestTheFilterIsTheMatchedFilterOfLinearAlgebra(t *testing.T) {
	// numpy.linalg: Si = inv(S); d @ Si @ (x-m) / (d @ Si @ d), 1/sqrt(d @ Si @ d),
	// NumPy 1.24.2 of Debian, on these numbers.
	m := []float64{-0.5, 1.1, 1.9}
	s := []float64{0.010, 0.002, -0.003, 0.002, 0.006, 0.004, -0.003, 0.004, 0.014}
	d := []float64{0.12, -0.20, -0.47}
	x := []float64{-0.42, 0.99, 1.70}
	crop := stat.NewEllipsoid(m, s)
	f := newFilter(d, &crop)
	got := 0.0
	for j := range x {
		got += f.weight[j] * (x[j] - f.center[j])
	}
	if want := 0.4644521100259834; math.Abs(got-want) > 1e-12 {
		t.Errorf("effect %.16g, want %.16g", got, want)
	}
	if want := 0.24179020526049846; math.Abs(f.spread-want) > 1e-12 {
		t.Errorf("spread %.16g, want %.16g", f.spread, want)
	}
}

func TestAFilterOfNothingSaysNothing(t *testing.T) {
	crop := stat.NewEllipsoid([]float64{0, 0}, []float64{1, 0, 0, 1})
	if f := newFilter([]float64{0, 0}, &crop); f.spread != 0 {
		t.Errorf("a target that adds nothing has a spread of %g", f.spread)
	}
}
