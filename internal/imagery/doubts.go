package imagery

import (
	"fmt"
	"slices"
	"strings"

	"bittern/internal/doubt"
	"bittern/internal/geotiff"
)

// doubts is what is not sure about one file.
func (f *File) doubts() []doubt.Doubt {
	var d []doubt.Doubt
	add := func(about, says, settle string, weight float64) {
		d = append(d, doubt.Doubt{About: about, Says: says, Settle: settle, Weight: weight})
	}
	if s := f.CRS.Doubt(); f.CRS.Valid() && s != "" {
		add("place", s, "Export the picture in WGS 84, or pin it onto marks.", 0.15)
	}
	if len(f.placedBy) > 0 && f.CRS.Valid() {
		add("place", fmt.Sprintf("The place of %s was taken from %s beside it.", f.Name, strings.Join(f.placedBy, " and ")),
			"If that belongs to something else, export the picture as a GeoTIFF.", 0.1)
	}
	if i := slices.IndexFunc(f.how, func(h string) bool { return strings.HasPrefix(h, "taken for") }); i >= 0 {
		add("bands", fmt.Sprintf("Band %d of %s does not say what it is and was taken for near infrared.", i+1, f.Name),
			"Say it with --bands red,green,blue,nir, or with - in its place when it is not near infrared.", 0.4)
	}
	if un := f.unnamed(); len(un) > 0 {
		add("bands", fmt.Sprintf("%s of %s %s not used, because the file does not say what it is.", un, f.Name, isAre(un)),
			"Say it with --bands.", 0.1)
	}
	switch {
	case f.SRGB:
		add("picture", f.Name+" is display colour of 8 bits: small differences of colour are lost in it.",
			"Export reflectance with 16 bits a band, if the camera has it.", 0.15)
	case f.Image.Sample == geotiff.Uint8 && slices.ContainsFunc(f.Bands, isBand):
		add("picture", f.Name+" has 8 bits a band, and its numbers were taken as they are, as proportional to light.",
			"Export reflectance with 16 bits a band, if the camera has it.", 0.2)
	}
	if f.Image.Masks > 0 && f.Mask == nil || f.oddMask {
		add("picture", f.Name+" has a mask of its gaps of a kind that is not read, and it was not used.", "Export the picture with a no-data value or with transparency.", 0.1)
	}
	if f.PixelM > 0.25 {
		add("picture", fmt.Sprintf("A pixel of %s is %.2f m on the ground: weeds between the rows cannot be seen singly.", f.Name, f.PixelM),
			"Fly lower: a pixel of 10 cm or less shows more.", 0.5)
	}
	return d
}

// unnamed lists the samples of which nothing is known: "Band 4", "Bands 4 and
// 5"; "" when there are none.
func (f *File) unnamed() string {
	var list []string
	for i, name := range f.Bands {
		said, _ := ofName(f.Image.BandNames[i])
		if name == "" && i != f.Image.Alpha && said == "" && f.Image.Wavelengths[i] == 0 && f.how[i] == "" && !f.typed() {
			list = append(list, fmt.Sprint(i+1))
		}
	}
	switch n := len(list); n {
	case 0:
		return ""
	case 1:
		return "Band " + list[0]
	default:
		return "Bands " + strings.Join(list[:n-1], ", ") + " and " + list[n-1]
	}
}

// typed reports whether the file's bands were typed.
func (f *File) typed() bool { return slices.Contains(f.how, "as typed with --bands") }

func isAre(list string) string {
	if strings.HasPrefix(list, "Bands") {
		return "are"
	}
	return "is"
}
