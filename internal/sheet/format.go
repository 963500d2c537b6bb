package sheet

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"bittern/internal/unit"
)

// area is a figure in the sheet's unit without its name: to a tenth from one
// up, to a hundredth below.
func (u Units) area(acres float64) string {
	v := acres
	if u == Metric {
		v = float64(unit.Acres(acres).Hectares())
	}
	switch {
	case v == 0:
		return "0"
	case math.IsNaN(v) || math.IsInf(v, 0):
		return "not known"
	case math.Abs(v) < 0.005:
		return "under 0.01"
	case math.Abs(v) < 0.995:
		return strconv.FormatFloat(v, 'f', 2, 64)
	}
	return grouped(strconv.FormatFloat(v, 'f', 1, 64))
}

// areaName is the unit of area, long.
func (u Units) areaName() string {
	if u == Metric {
		return "hectares"
	}
	return "acres"
}

// areas is area with its unit: "4.3 acres", "0.05 acre".
func (u Units) areas(acres float64) string {
	s, name := u.area(acres), u.areaName()
	if !strings.HasPrefix(s, "under") && s != "not known" {
		if v, err := strconv.ParseFloat(strings.ReplaceAll(s, ",", ""), 64); err == nil && v > 0 && v <= 1 {
			name = strings.TrimSuffix(name, "s")
		}
	}
	return s + " " + name
}

// dollars is an amount: without cents from $100 up, and where there are none.
func dollars(v float64) string {
	sign := ""
	if v < 0 {
		sign, v = "-", -v
	}
	cents := math.Round(v * 100)
	if cents >= 10000 || math.Mod(cents, 100) == 0 {
		return sign + "$" + whole(cents/100)
	}
	return sign + "$" + strconv.FormatFloat(cents/100, 'f', 2, 64)
}

// whole is a rounded figure with its thousands set off by commas.
func whole(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "not known"
	}
	return grouped(strconv.FormatFloat(math.Round(v), 'f', 0, 64))
}

// grouped puts commas into the whole part of a plain figure.
func grouped(s string) string {
	head, tail, dot := strings.Cut(s, ".")
	sign := ""
	if strings.HasPrefix(head, "-") {
		sign, head = "-", head[1:]
	}
	for i := len(head) - 3; i > 0; i -= 3 {
		head = head[:i] + "," + head[i:]
	}
	if dot {
		tail = "." + tail
	}
	return sign + head + tail
}

// minutesAndDegrees is a position in degrees and decimal minutes, to a
// thousandth of a minute (6 ft), and in decimal degrees, to five decimals (4 ft).
func (p Position) minutesAndDegrees() (minutes, degrees string) {
	return decimalMinutes(p.Lat, "N", "S") + ", " + decimalMinutes(p.Lon, "E", "W"),
		fmt.Sprintf("%.5f, %.5f", p.Lat, p.Lon)
}

func decimalMinutes(deg float64, positive, negative string) string {
	side := positive
	if deg < 0 {
		side, deg = negative, -deg
	}
	thousandths := int64(math.Round(deg * 60000))
	return fmt.Sprintf("%d\u00b0 %02d.%03d\u2032 %s", thousandths/60000, thousandths/1000%60, thousandths%1000, side)
}

// degrees3 is a heading as pilots say it: three figures.
func degrees3(deg float64) string {
	return fmt.Sprintf("%03d\u00b0", (int(math.Round(deg))%360+360)%360)
}

// trimmed is a figure without needless decimals.
func trimmed(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
