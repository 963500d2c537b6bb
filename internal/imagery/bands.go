package imagery

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"bittern/internal/doubt"
	"bittern/internal/geotiff"
)

const bandRemedy = "say which band is which with --bands, for example --bands green,red,rededge,nir"

// nameBands decides which sample of which file is which band.
func (f *Flight) nameBands(typed []string) error {
	for _, file := range f.Files {
		n := file.Image.Bands
		file.Bands, file.how = make([]string, n), make([]string, n)
	}
	if len(typed) > 0 {
		if err := f.useTyped(typed); err != nil {
			return err
		}
	} else {
		for _, file := range f.Files {
			file.readBands()
		}
	}
	for _, file := range f.Files {
		file.pickOne()
		file.SRGB = file.display()
	}
	f.settleShared()
	return f.enough()
}

// useTyped takes the typed names, for each file alike or for all samples of
// all files in turn. Alpha need not be named.
func (f *Flight) useTyped(typed []string) error {
	list := make([]string, len(typed))
	for i, t := range typed {
		name, _ := ofName(t)
		if strings.TrimSpace(t) == "-" {
			name = unused
		}
		if name == "" {
			return &doubt.Problem{
				What:   fmt.Sprintf("--bands names %q, which is no band that is known", t),
				Remedy: "use blue, green, red, rededge and nir, and - for a band to leave out",
			}
		}
		list[i] = name
	}
	if !f.allTogether(list) {
		for _, file := range f.Files {
			if err := file.take(list); err != nil {
				return err
			}
		}
		return nil
	}
	for _, file := range f.Files {
		if err := file.take(list[:file.dataBands()]); err != nil {
			return err
		}
		list = list[file.dataBands():]
	}
	return nil
}

// allTogether reports whether list names the samples of several files in
// turn.
func (f *Flight) allTogether(list []string) bool {
	total := 0
	for _, file := range f.Files {
		total += file.dataBands()
	}
	return len(f.Files) > 1 && total == len(list)
}

// dataBands is the number of samples less alpha.
func (f *File) dataBands() int {
	if f.Image.Alpha >= 0 {
		return f.Image.Bands - 1
	}
	return f.Image.Bands
}

// take gives the file's samples the names of list.
func (f *File) take(list []string) error {
	if len(list) != f.dataBands() && len(list) != f.Image.Bands {
		return &doubt.Problem{
			File:   f.Name,
			What:   fmt.Sprintf("it has %d bands, but --bands names %d", f.dataBands(), len(list)),
			Remedy: "name every band of the picture in its order, with - for a band to leave out",
		}
	}
	next := 0
	for i := range f.Bands {
		if i == f.Image.Alpha {
			if len(list) == f.Image.Bands {
				next++
			}
			continue
		}
		if name := list[next]; isBand(name) {
			if slices.Contains(f.Bands, name) {
				return &doubt.Problem{File: f.Name, What: "--bands names " + name + " twice", Remedy: "name each band once"}
			}
			f.Bands[i], f.how[i] = name, "as typed with --bands"
		}
		next++
	}
	return nil
}

// readBands takes the names from what the file says.
func (f *File) readBands() {
	im := f.Image
	trusted := f.colorsAgree()
	for i := range f.Bands {
		if i == im.Alpha {
			continue
		}
		if name, _ := ofName(im.BandNames[i]); name != "" {
			f.set(i, name, "from the band's name")
		} else if name := ofWavelength(im.Wavelengths[i]); name != "" {
			f.set(i, name, "from its wavelength")
		} else if name := words(im.Colors[i]); name != "" && trusted {
			f.set(i, name, "from its colour")
		}
	}
	if f.dataBands() == 1 && !slices.ContainsFunc(f.Bands, isBand) {
		for i := range f.Bands {
			if i != im.Alpha {
				f.set(i, ofFileName(f.Name), "from the file's name")
			}
		}
	}
	f.fourthBand()
}

func (f *File) set(i int, name, how string) {
	if isBand(name) {
		f.Bands[i], f.how[i] = name, how
	}
}

// colorsAgree reports whether no band's name or wavelength contradicts its
// colour. A picture that is red, green and blue only for display says more
// with one name than with three colours.
func (f *File) colorsAgree() bool {
	for i, color := range f.Image.Colors {
		said, _ := ofName(f.Image.BandNames[i])
		if said == "" {
			said = ofWavelength(f.Image.Wavelengths[i])
		}
		if c := words(color); said != "" && c != "" && said != c {
			return false
		}
	}
	return true
}

// fourthBand takes a fourth sample that is not transparency, beside red,
// green and blue that were told by their colours, for near infrared.
func (f *File) fourthBand() {
	im := f.Image
	if im.Bands != 4 || im.Alpha >= 0 || f.Bands[3] != "" || im.BandNames[3] != "" || im.Wavelengths[3] != 0 {
		return
	}
	if slices.Equal(f.Bands[:3], []string{"red", "green", "blue"}) && f.how[0] == "from its colour" {
		f.set(3, "nir", "taken for near infrared: a fourth band beside red, green and blue that is not transparency")
	}
}

// pickOne leaves one sample for each band where a camera has several: the
// one nearest the wavelength preferred, else the first.
func (f *File) pickOne() {
	best := map[string]int{}
	for i, name := range f.Bands {
		if name == "" {
			continue
		}
		j, seen := best[name]
		switch {
		case !seen:
			best[name] = i
		case fromIdeal(name, f.wavelength(i)) < fromIdeal(name, f.wavelength(j)):
			best[name] = i
			f.Bands[j], f.how[j] = "", ""
		default:
			f.Bands[i], f.how[i] = "", ""
		}
	}
}

// wavelength is what the file says of sample i, in nm, or 0.
func (f *File) wavelength(i int) float64 {
	if nm := f.Image.Wavelengths[i]; nm > 0 {
		return nm
	}
	_, nm := ofName(f.Image.BandNames[i])
	return nm
}

// display reports whether the file is 8-bit display colour: samples of 8
// bits, some of which the file calls red, green or blue. Its near infrared,
// if any, went through the same tone curve.
func (f *File) display() bool {
	return f.Image.Sample == geotiff.Uint8 && slices.ContainsFunc(f.Image.Colors, func(c string) bool {
		return c == "red" || c == "green" || c == "blue"
	})
}

// Scale is what 1 counts in the samples of the bands that are used, and
// whether that is all that the file says of it: plain is false where bands have
// different scales, or offsets. Display colour counts as it is.
func (f *File) Scale() (scale float64, plain bool) {
	scale, plain = 1, true
	if f.SRGB {
		return scale, plain
	}
	im, first := f.Image, true
	for i, name := range f.Bands {
		if name == "" {
			continue
		}
		if first {
			scale, first = im.Scales[i], false
		}
		plain = plain && im.Scales[i] == scale && im.Offsets[i] == 0 && scale > 0
	}
	return scale, plain
}

// settleShared leaves a band that several files store in different ways to
// those with the most bits: sums of different units would mean nothing.
func (f *Flight) settleShared() {
	for _, b := range names() {
		var best *File
		for _, file := range f.Files {
			if slices.Contains(file.Bands, b.name) && (best == nil || file.Image.Sample.Bytes() > best.Image.Sample.Bytes()) {
				best = file
			}
		}
		for _, file := range f.Files {
			i := slices.Index(file.Bands, b.name)
			if i < 0 || file.Image.Sample == best.Image.Sample && file.SRGB == best.SRGB {
				continue
			}
			file.Bands[i], file.how[i] = "", ""
			f.Doubts = append(f.Doubts, doubt.Doubt{
				About:  "bands",
				Says:   fmt.Sprintf("The %s of %s was left out, because %s holds it with more detail.", b.name, file.Name, best.Name),
				Settle: "Give only the picture whose " + b.name + " is to be used.",
				Weight: 0.05,
			})
		}
	}
}

// enough checks that the bands can answer anything.
func (f *Flight) enough() error {
	have := map[string]bool{}
	samples := 0
	for _, file := range f.Files {
		samples += file.dataBands()
		for _, name := range file.Bands {
			if name != "" {
				have[name] = true
			}
		}
	}
	first := f.Files[0].Name
	pair := have["green"] && (have["red"] || have["nir"]) || have["red"] && have["nir"]
	switch {
	case pair:
		return nil
	case samples == 1:
		return &doubt.Problem{
			Kind: doubt.Unfit, File: first,
			What:   "the picture has one band, and one band cannot tell one colour from another",
			Remedy: "give the pictures of the other bands as well, or one picture with red and green, or with near infrared",
		}
	case len(have) >= 2 && len(have) == samples:
		return &doubt.Problem{
			Kind: doubt.Unfit, File: first,
			What:   "its bands are " + strings.Join(f.haveInOrder(have), " and ") + ", which cannot tell crop from what is wrong with it",
			Remedy: "give a picture with red and green, or with near infrared",
		}
	}
	return &doubt.Problem{File: first, What: f.said(), Remedy: bandRemedy}
}

func (f *Flight) haveInOrder(have map[string]bool) (list []string) {
	for _, b := range names() {
		if have[b.name] {
			list = append(list, b.name)
		}
	}
	return list
}

// said says what is known about bands that cannot be told apart.
func (f *Flight) said() string {
	file := f.Files[0]
	var known []string
	for _, s := range file.Image.BandNames {
		if s != "" {
			known = append(known, fmt.Sprintf("%q", s))
		}
	}
	what := fmt.Sprintf("it has %d bands and does not say which band is which", file.dataBands())
	if len(known) > 0 {
		what += " (it calls them " + strings.Join(known, ", ") + ")"
	}
	return what
}

// listBands lists what is used.
func (f *Flight) listBands() {
	for _, file := range f.Files {
		for i, name := range file.Bands {
			if name != "" {
				f.Bands = append(f.Bands, Band{Name: name, File: file.Name, Index: i + 1, How: file.how[i]})
			}
		}
	}
	slices.SortStableFunc(f.Bands, func(a, b Band) int { return cmp.Compare(rank(a.Name), rank(b.Name)) })
}
