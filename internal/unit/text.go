package unit

import (
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// A System says in which units a person reads; it never changes a computation.
type System int

// The systems. The zero System is US.
const (
	US     System = iota // acres, feet, miles
	Metric               // hectares, metres, kilometres
)

// ParseSystem reads "us" or "metric".
func ParseSystem(s string) (System, bool) {
	switch s {
	case "us":
		return US, true
	case "metric":
		return Metric, true
	}
	return US, false
}

// AreaUnit is the word that stands after AreaNumber: "acres" or "ha".
func (s System) AreaUnit() string {
	if s == Metric {
		return "ha"
	}
	return "acres"
}

// AreaNumber is a for people, without its unit: to a tenth from one up, to a
// hundredth below.
func (s System) AreaNumber(a Acres) string {
	v := float64(a)
	if s == Metric {
		v = float64(a.Hectares())
	}
	if math.Abs(v) < 0.995 {
		return fixed(v, 2)
	}
	return fixed(v, 1)
}

// Area is a for people: "4.3 acres", "0.05 acre", "1.7 ha".
func (s System) Area(a Acres) string {
	n := s.AreaNumber(a)
	if s == US && n != "0.00" && (strings.HasPrefix(n, "0.") || n == "1.0") {
		return n + " acre"
	}
	return n + " " + s.AreaUnit()
}

// LengthUnit is the word that stands after LengthNumber: "ft" or "m".
func (s System) LengthUnit() string {
	if s == Metric {
		return "m"
	}
	return "ft"
}

// LengthNumber is m for people, in whole feet or metres without the unit.
func (s System) LengthNumber(m Meters) string {
	if s == Metric {
		return fixed(float64(m), 0)
	}
	return fixed(float64(m.Feet()), 0)
}

// Length is m for people: "8,123 ft", "2,476 m".
func (s System) Length(m Meters) string { return s.LengthNumber(m) + " " + s.LengthUnit() }

// Distance is m for people when it is long: "2.4 miles", "3.9 km".
func (s System) Distance(m Meters) string {
	if s == Metric {
		return fixed(float64(m)/1000, 1) + " km"
	}
	return fixed(float64(m.Miles()), 1) + " miles"
}

// String is c for people: without cents from $100 up ("$1,235"), with cents
// below ("$44.50").
func (c Cents) String() string {
	if c >= 10000 || c <= -10000 {
		return c.text(0)
	}
	return c.text(2)
}

func (c Cents) text(decimals int) string {
	s := fixed(c.Dollars(), decimals)
	if rest, negative := strings.CutPrefix(s, "-"); negative {
		return "-$" + rest
	}
	return "$" + s
}

var smallCounts = [...]string{
	"no", "one", "two", "three", "four", "five", "six",
	"seven", "eight", "nine", "ten", "eleven", "twelve",
}

// Count is a count as a sentence says it, in words up to twelve: "no", "one", "13".
func Count(n int) string {
	if n >= 0 && n < len(smallCounts) {
		return smallCounts[n]
	}
	return strconv.Itoa(n)
}

// Sentence is a text with its first letter as a sentence begins.
func Sentence(s string) string {
	if s == "" {
		return s
	}
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}

// Number is v with the given number of decimals and a comma at every thousand:
// "1,234.5". It never prints a negative zero.
func Number(v float64, decimals int) string { return fixed(v, decimals) }

// AboutPercent is a part, 0 to 1, that is known to within a factor of two or so: "about 15 %", in steps of five and
// never under five.
func AboutPercent(part float64) string {
	return "about " + fixed(max(5, 5*math.Round(20*part)), 0) + " %"
}

func fixed(v float64, decimals int) string {
	// Halves go away from zero, as a person rounds; a value that only floating
	// point put a hair below the half counts as the half.
	scale := math.Pow10(decimals)
	scaled := v * scale
	rounded := math.Round(scaled + math.Copysign(math.Abs(scaled)*1e-12, scaled))
	s := strconv.FormatFloat(math.Abs(rounded)/scale, 'f', decimals, 64)
	whole, frac, _ := strings.Cut(s, ".")
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + "," + whole[i:]
	}
	if frac != "" {
		whole += "." + frac
	}
	if rounded < 0 {
		whole = "-" + whole
	}
	return whole
}
