// Package sheet prints the paper: the field sheet for the record and the
// grower, the job sheet for whoever applies. It works out nothing but the
// layout; every figure and sentence on a sheet is handed to it.
//
// One drawing layer has two backends, a PDF and a picture in pixels, so that
// the sheet that is texted is the sheet that is printed. Lengths inside the
// room are points (1/72 inch), x to the right and y down from the top left
// corner of a letter page.
package sheet
