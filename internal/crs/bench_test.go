package crs_test

import (
	"strings"
	"testing"

	"bittern/internal/crs"
)

func BenchmarkForwardUTM(b *testing.B) {
	c := crs.UTM(15, false)
	for b.Loop() {
		if _, _, err := c.Forward(-91.55, 34.5); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkParseByParameters(b *testing.B) {
	text := strings.Replace(esriUTM, "0.9996", "0.9997", 1)
	for b.Loop() {
		if _, err := crs.ParseWKT(text); err != nil {
			b.Fatal(err)
		}
	}
}
