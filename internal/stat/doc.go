// Package stat holds statistics of slices and filters of small rasters: robust
// centres and spreads, quantiles, robust covariance, smoothing under a mask,
// connected components, distances, thinning. Pure functions without files,
// clock or state; the same input gives the same bits on every machine.
//
// Rasters are row-major slices of one [Size]. NaN is a value that is not
// known: it is passed over, never spread.
package stat
