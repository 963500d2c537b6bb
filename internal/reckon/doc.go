// Package reckon puts money beside the choices: leave it, treat the blocks of
// each applicator, treat the whole field. It calls package block with the
// dollars that treating each cell would win.
//
// Every price is the grower's own. Nothing is assumed: without prices there is
// no reckoning. The formulas and their sources are in docs/methods/reckoning.md.
package reckon
