//go:build race

package geotiff_test

// slower is how many times slower the race detector makes a program, about.
const slower = 10
