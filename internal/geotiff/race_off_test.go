//go:build !race

package geotiff_test

const slower = 1
