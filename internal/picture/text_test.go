package picture_test

import (
	"strconv"
	"strings"
)

func itoa(v int) string     { return strconv.Itoa(v) }
func ftoa(v float64) string { return strconv.FormatFloat(v, 'f', 10, 64) }

// scan reads whole numbers from lines.
func scan(text string, into *[3]int) int {
	n := 0
	for _, f := range strings.Fields(text) {
		if v, err := strconv.Atoi(f); err == nil && n < len(into) {
			into[n] = v
			n++
		}
	}
	return n
}
