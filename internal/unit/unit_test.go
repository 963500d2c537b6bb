package unit_test

import (
	"math"
	"testing"

	"bittern/internal/unit"
)

func TestConstantsEqualPublishedValues(t *testing.T) {
	for _, tc := range []struct {
		source    string
		got, want float64
	}{
		{"T10.10: international foot, NIST SP 811", unit.MetersPerFoot, 0.3048},
		{"T10.10: US survey foot, NIST SP 811", unit.MetersPerSurveyFoot, 0.3048006096012192},
		{"T10.10: international acre", unit.SquareMetersPerAcre, 4046.8564224},
		{"T10.10: US survey acre", 43560 * unit.MetersPerSurveyFoot * unit.MetersPerSurveyFoot, 4046.8726098743},
		{"T10.9: 627,551.371 m2 are 155.0713 ac", math.Round(float64(unit.SquareMeters(627551.371).Acres())*1e4) / 1e4, 155.0713},
		{"NIST SP 811: mile", unit.MetersPerMile, 1609.344},
		{"NIST SP 811: mile per hour", float64(unit.MilesPerHour(1).MetersPerSec()), 0.44704},
	} {
		if math.Abs(tc.got-tc.want) > 1e-10*math.Abs(tc.want) {
			t.Errorf("%s: got %.13g, want %.13g", tc.source, tc.got, tc.want)
		}
	}
}

func TestConversionsInvertEachOther(t *testing.T) {
	if got := unit.Feet(65).Meters().Feet(); math.Abs(float64(got)-65) > 1e-12 {
		t.Errorf("feet: %v", got)
	}
	if got := unit.Acres(3.25).SquareMeters().Acres(); math.Abs(float64(got)-3.25) > 1e-12 {
		t.Errorf("acres: %v", got)
	}
	if got := unit.Miles(5).Meters().Miles(); math.Abs(float64(got)-5) > 1e-12 {
		t.Errorf("miles: %v", got)
	}
}

func TestMoneyIsRoundedOnceHalfAwayFromZero(t *testing.T) {
	for _, tc := range []struct {
		price unit.DollarsPerAcre
		area  unit.Acres
		want  unit.Cents
	}{
		{12, 17.8, 21360}, {0.125, 1, 13}, {-0.125, 1, -13}, {11.5, 0.05, 58}, {44, 0.27, 1188},
	} {
		if got := tc.price.Over(tc.area); got != tc.want {
			t.Errorf("%v over %v: got %d, want %d", tc.price, tc.area, got, tc.want)
		}
	}
}

func TestFiguresForPeopleFollowTheVoice(t *testing.T) {
	for _, tc := range []struct{ got, want string }{
		{unit.US.Area(4.345), "4.3 acres"},
		{unit.US.Area(0.047), "0.05 acre"},
		{unit.US.Area(0.996), "1.0 acre"},
		{unit.US.Area(0.994), "0.99 acre"},
		{unit.US.Area(1234.56), "1,234.6 acres"},
		{unit.US.Area(0), "0.00 acres"},
		{unit.Metric.Area(4.3), "1.7 ha"},
		{unit.US.Length(2476), "8,123 ft"},
		{unit.Metric.Length(2476.2), "2,476 m"},
		{unit.US.Distance(8046.72), "5.0 miles"},
		{unit.Metric.Distance(8046.72), "8.0 km"},
		{unit.Cents(4450).String(), "$44.50"},
		{unit.Cents(10000).String(), "$100"},
		{unit.Cents(9999).String(), "$99.99"},
		{unit.Cents(123456).String(), "$1,235"},
		{unit.Cents(123450).String(), "$1,235"},
		{unit.Cents(-123456).String(), "-$1,235"},
		{unit.Number(-0.001, 1), "0.0"},
		{unit.Number(1.005, 2), "1.01"},
		{unit.Number(1234567.891, 1), "1,234,567.9"},
	} {
		if tc.got != tc.want {
			t.Errorf("got %q, want %q", tc.got, tc.want)
		}
	}
}

func TestSystemsAreReadByName(t *testing.T) {
	if s, ok := unit.ParseSystem("metric"); s != unit.Metric || !ok {
		t.Error("metric is not read")
	}
	if s, ok := unit.ParseSystem("us"); s != unit.US || !ok {
		t.Error("us is not read")
	}
	if _, ok := unit.ParseSystem("imperial"); ok {
		t.Error("an unknown system is read")
	}
}
