package sheet_test

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"bittern/internal/geo"
	"bittern/internal/oracle"
	"bittern/internal/sheet"
)

// fieldSamples and jobSamples are the days that every rule of a sheet is
// checked on.
func fieldSamples() map[string]sheet.FieldSheet {
	return map[string]sheet.FieldSheet{
		"nine suspects":  fullField(9, 37),
		"five suspects":  fullField(5, 4),
		"one suspect":    fullField(1, 1),
		"clean":          cleanField(),
		"long and thin":  longField(),
		"tall and thin":  tallField(),
		"tiny, metric":   tinyField(),
		"overfull":       overfullField(),
		"nothing at all": {},
	}
}

func jobSamples() map[string]sheet.JobSheet {
	return map[string]sheet.JobSheet{
		"ready":              fullJob(),
		"crowded":            crowdedJob(),
		"draft":              draftJob(),
		"long, thin, metric": slimJob(),
		"overfull":           overfullJob(),
		"nothing at all":     {},
	}
}

func fieldPDF(t *testing.T, f sheet.FieldSheet) []byte {
	t.Helper()
	var buf bytes.Buffer
	if err := sheet.Field(&buf, f); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

func jobPDF(t *testing.T, j sheet.JobSheet) []byte {
	t.Helper()
	var buf bytes.Buffer
	if err := sheet.Job(&buf, j); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

func jobPNG(t *testing.T, j sheet.JobSheet) []byte {
	t.Helper()
	var buf bytes.Buffer
	if err := sheet.JobPNG(&buf, j); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

func allPDFs(t *testing.T) map[string][]byte {
	t.Helper()
	out := map[string][]byte{}
	for name, f := range fieldSamples() {
		out["field sheet, "+name] = fieldPDF(t, f)
	}
	for name, j := range jobSamples() {
		out["job sheet, "+name] = jobPDF(t, j)
	}
	return out
}

// run writes pdf to a file, and returns what a program prints about it.
func run(t *testing.T, pdf []byte, program string, args ...string) string {
	t.Helper()
	tool := oracle.Need(t, program)
	path := filepath.Join(t.TempDir(), "sheet.pdf")
	if err := os.WriteFile(path, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	for i, a := range args {
		if a == "FILE" {
			args[i] = path
		}
	}
	out, err := exec.CommandContext(t.Context(), tool, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s: %v\n%s", program, err, out)
	}
	return string(out)
}

// plainText is the text of a PDF with single spaces.
func plainText(t *testing.T, pdf []byte) string {
	t.Helper()
	return strings.Join(strings.Fields(run(t, pdf, "pdftotext", "FILE", "-")), " ")
}

func TestSheetsAreLetterPagesWithEmbeddedFonts(t *testing.T) {
	for name, pdf := range allPDFs(t) {
		info := run(t, pdf, "pdfinfo", "FILE")
		if !strings.Contains(info, "612 x 792 pts (letter)") {
			t.Errorf("%s: not a letter page:\n%s", name, info)
		}
		fonts := strings.Split(strings.TrimSpace(run(t, pdf, "pdffonts", "FILE")), "\n")[2:]
		if len(fonts) == 0 {
			t.Errorf("%s: no fonts", name)
		}
		for _, f := range fonts {
			if !strings.Contains(strings.ToLower(f), "liberationsans") || !strings.Contains(f, "yes no  yes") {
				t.Errorf("%s: font is not embedded, or its text can't be copied: %s", name, f)
			}
		}
	}
}

func TestOrdinaryDaysTakeAtMostTwoPages(t *testing.T) {
	for name, f := range fieldSamples() {
		if pages := len(sheet.FieldText(f)); pages > 2 && name != "long and thin" && name != "overfull" {
			t.Errorf("field sheet, %s: %d pages", name, pages)
		}
	}
	for name, j := range jobSamples() {
		want := 1
		switch name {
		case "crowded":
			want = 2
		case "overfull":
			want = 5 // 62 blocks, each with three winds
		}
		if pages := len(sheet.JobText(j)); pages != want {
			t.Errorf("job sheet, %s: %d pages, want %d", name, pages, want)
		}
	}
}

func TestFieldSheetHoldsTheDay(t *testing.T) {
	text := plainText(t, fieldPDF(t, fullField(9, 37)))
	for _, want := range []string{
		"Heron Bend 7, flown Tuesday 14 July at 9:05", "9 patches stand out, 4.3 acres of 118.", "Walk A, B and D",
		"Could be missed", "36 were found", "What it costs", "$931", "$5,428", "$0 \u2013 $1,290", "Doubt: shade", "Fly that corner",
		"same either way: not worth it", "not crop", "worth it if at least 1 in 6", "37 small ones together",
		"Looked at 103.5 of 118.0 acres", "Left out 14.5: levee 7.2, edge 2.2, shade 5.0, water 0.05",
		"Killed weeds: 14.0 acres", "Would flip it: a rice price", "burnt leaf tips", "Consistent with is not a diagnosis",
		"heron7.tif (613031323334)", "bittern 0.3.0", "The label is the law", "500 ft", "page 2 of 2", "26 of 40",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the field sheet does not say %q", want)
		}
	}
}

func TestSheetSaysThatPricesAreMissingRatherThanGuessing(t *testing.T) {
	text := plainText(t, fieldPDF(t, cleanField()))
	if !strings.Contains(text, "Prices are not typed") || strings.Contains(text, "$") {
		t.Error("a sheet without prices must say so and name no amount")
	}
}

func TestJobSheetHoldsTheOrder(t *testing.T) {
	text := plainText(t, jobPDF(t, fullJob()))
	for _, want := range []string{
		"JOB 14", "REV 2", "replaces REV 1: destroy it", "15 July 2026", "K7M 2QX", "Ada Farrow", "555-0142", "farm 12, tract 345, field 7",
		"35\u00b0 14.999\u2032 N, 90\u00b0 30.457\u2032 W", "35.24998, -90.50761", "35.24712, -90.51123",
		"herbicide A", "000-000", "1.0 qt/ac", "12 h", "60 d", "11.8 ac (9.9\u201314.0)", "14.6 ac", "17.8 ac", "40.0 ac",
		"012\u00b0 / 192\u00b0", "096\u00b0 / 276\u00b0", "141\u00b0 / 321\u00b0", "$931", "170\u00b0\u2013285\u00b0",
		"power line, 28 ft, along the east side (entered 12 June 2026 by A. Farrow)", "SENSITIVE NEIGHBOURS", "wire 28 ft", "entry",
		"APPLIED", "signature", "cert. no.", "tail no.", "The label is the law.", "Local rules come first.",
		"800-222-1222", "800-424-9300", // docs/references.md R11: USDA record manual
		"heron7.tif (613031323334)",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the job sheet does not say %q", want)
		}
	}
	if strings.Contains(text, "DRAFT") {
		t.Error("a ready job is called a draft")
	}
}

func TestEmptyListsSayThatNobodyLooked(t *testing.T) {
	text := plainText(t, jobPDF(t, draftJob()))
	if got := strings.Count(text, "NONE ENTERED \u2014 not surveyed. Pilot must look."); got != 2 {
		t.Errorf("%d lists say that nothing was entered, want hazards and neighbours", got)
	}
	for _, want := range []string{"DRAFT", "No products were typed.", "UNPINNED"} {
		if !strings.Contains(text, want) {
			t.Errorf("the draft does not say %q", want)
		}
	}
}

func TestNoHazardIsDroppedFromACrowdedJob(t *testing.T) {
	text := plainText(t, jobPDF(t, crowdedJob()))
	for i := range 9 {
		for _, want := range []string{fmt.Sprintf("guy wire number %d", i), fmt.Sprintf("organic beans, %d ft", 100*i)} {
			if !strings.Contains(text, want) {
				t.Errorf("%q is missing", want)
			}
		}
	}
	over := plainText(t, jobPDF(t, overfullJob()))
	for i := range 5 {
		for _, want := range []string{fmt.Sprintf("Reason number %d", i), fmt.Sprintf("Caution number %d", i)} {
			if !strings.Contains(over, want) {
				t.Errorf("%q is missing", want)
			}
		}
	}
	if got := strings.Count(over, "350 to 10"); got != 50 {
		t.Errorf("%d of 50 wind arcs are printed to their end", got)
	}
	if !strings.Contains(text, "The blocks are listed on page 2.") || !strings.Contains(text, "more on the last page") {
		t.Error("the first page does not send the reader to the second")
	}
}

func TestNoTextOverlapsOrLeavesThePage(t *testing.T) {
	for name, f := range fieldSamples() {
		checkText(t, "field sheet, "+name, sheet.FieldText(f))
	}
	for name, j := range jobSamples() {
		checkText(t, "job sheet, "+name, sheet.JobText(j))
	}
}

// checkText fails the test where a line of text lies on another, or leaves the
// page's margins.
func checkText(t *testing.T, name string, pages [][]sheet.TextBox) {
	t.Helper()
	for n, boxes := range pages {
		for i, a := range boxes {
			if !(a.X >= 18 && a.X+a.W <= 612-18 && a.Y >= 12 && a.Y+a.H <= 792-14) {
				t.Errorf("%s, page %d: %q leaves the page: %+v", name, n+1, a.Text, a)
			}
			for _, b := range boxes[:i] {
				if a.X < b.X+b.W && b.X < a.X+a.W && a.Y < b.Y+b.H && b.Y < a.Y+a.H {
					t.Errorf("%s, page %d: %q lies on %q", name, n+1, a.Text, b.Text)
				}
			}
		}
	}
}

// Days as no person would make them: names, lists and shapes of any length.
func TestTextOfAnyLengthFindsRoom(t *testing.T) {
	for seed := range uint64(150) {
		d := dice{rand.New(rand.NewPCG(11, seed))}
		checkText(t, fmt.Sprintf("field sheet of seed %d", seed), sheet.FieldText(d.field()))
		checkText(t, fmt.Sprintf("job sheet of seed %d", seed), sheet.JobText(d.job()))
	}
}

func TestFiguresOnAJobSheetAreAtLeastTenPoints(t *testing.T) {
	for _, b := range sheet.JobText(fullJob())[0] {
		figure := strings.ContainsAny(b.Text, "0123456789")
		foot := strings.HasPrefix(b.Text, "Files") || strings.HasPrefix(b.Text, "Emergency")
		onMap := strings.HasPrefix(b.Text, "wire") || strings.HasSuffix(b.Text, " ft") && strings.Contains(b.Text, "00 ft")
		if figure && !foot && !onMap && b.Size < 10 {
			t.Errorf("%q is set in %.1f points", b.Text, b.Size)
		}
	}
}

func TestSameSheetSameBytes(t *testing.T) {
	first := fieldPDF(t, fullField(9, 37))
	for range 8 { // often enough for an order that is left to chance to show
		if !bytes.Equal(first, fieldPDF(t, fullField(9, 37))) {
			t.Fatal("two field sheets of one day differ")
		}
	}
	if !bytes.Equal(jobPDF(t, fullJob()), jobPDF(t, fullJob())) {
		t.Error("two job sheets of one job differ")
	}
	if !bytes.Equal(jobPNG(t, fullJob()), jobPNG(t, fullJob())) {
		t.Error("two pictures of one job differ")
	}
}

func TestJobPictureIsSmallEnoughToText(t *testing.T) {
	for name, j := range jobSamples() {
		data := jobPNG(t, j)
		conf, err := png.DecodeConfig(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		if len(data) >= 600_000 { // docs/references.md W14
			t.Errorf("%s: %d bytes", name, len(data))
		}
		if conf.Width != 1275 || conf.Height < 1650 || conf.Height > 5*1650 {
			t.Errorf("%s: %d x %d pixels, want letter pages of 1275 x 1650", name, conf.Width, conf.Height)
		}
	}
}

// The picture that is texted and the paper are the same drawing by two
// backends; poppler draws the PDF.
func TestTextedPictureIsThePrintedPage(t *testing.T) {
	for name, j := range jobSamples() {
		dir := t.TempDir()
		run(t, jobPDF(t, j), "pdftoppm", "-r", "150", "-gray", "-png", "-f", "1", "-l", "1", "-singlefile", "FILE", filepath.Join(dir, "page"))
		file, err := os.Open(filepath.Join(dir, "page.png"))
		if err != nil {
			t.Fatal(err)
		}
		printed, err := png.Decode(file)
		_ = file.Close()
		if err != nil {
			t.Fatal(err)
		}
		texted, err := png.Decode(bytes.NewReader(jobPNG(t, j)))
		if err != nil {
			t.Fatal(err)
		}
		if share := differing(grey(printed), grey(texted), 1275, 1650); share > 0.02 { // poppler moves thin rules onto whole pixels
			t.Errorf("%s: %.2f %% of the page differs", name, 100*share)
		}
	}
}

// differing is the share of 5 x 5 pixel squares whose mean darkness differs by
// more than a tenth.
func differing(a, b *image.Gray, w, h int) float64 {
	const side = 5
	bad, all := 0, 0
	for y := 0; y+side <= h; y += side {
		for x := 0; x+side <= w; x += side {
			if math.Abs(darkness(a, x, y, side)-darkness(b, x, y, side)) > 0.1 {
				bad++
			}
			all++
		}
	}
	return float64(bad) / float64(all)
}

func grey(img image.Image) *image.Gray {
	out := image.NewGray(img.Bounds())
	draw.Draw(out, out.Rect, img, img.Bounds().Min, draw.Src)
	return out
}

// darkness is the mean of a square of pixels, 0 for white and 1 for black.
func darkness(img *image.Gray, x, y, side int) float64 {
	sum := 0
	for dy := range side {
		for _, v := range img.Pix[img.PixOffset(x, y+dy):img.PixOffset(x+side, y+dy)] {
			sum += 255 - int(v)
		}
	}
	return float64(sum) / float64(side*side) / 255
}

// A farm's printer has no colour: what is plum, teal or ochre must stay dark.
func TestNoWordIsLostInGrey(t *testing.T) {
	for name, k := range map[string]color.RGBA{
		"plum": {0x6b, 0x1e, 0x5e, 255}, "teal": {0x0b, 0x5a, 0x5c, 255}, "ochre": {0x6e, 0x47, 0x00, 255}, "quiet": {0x4a, 0x48, 0x43, 255},
	} {
		if g, _ := color.GrayModel.Convert(k).(color.Gray); g.Y > 90 {
			t.Errorf("%s prints as grey %d", name, g.Y)
		}
	}
}

func TestTextIsMeasuredAsItIsPrinted(t *testing.T) {
	f := sheet.FieldSheet{Field: "x", Where: "Wavering Antelope.", Answer: []string{"Wide11 2468."}}
	boxes := run(t, fieldPDF(t, f), "pdftotext", "-bbox", "FILE", "-")
	for _, want := range []struct {
		word string
		bold bool
		size float64
	}{{"Wavering", false, 10.5}, {"Antelope.", false, 10.5}, {"Wide11", true, 20}, {"2468.", true, 20}} {
		_, rest, found := strings.Cut(boxes, ">"+want.word+"<")
		head := boxes[:len(boxes)-len(rest)-len(want.word)-2]
		var x0, y0, x1, y1 float64
		at := strings.LastIndex(head, "<word")
		if _, err := fmt.Sscanf(head[max(0, at):], `<word xMin="%f" yMin="%f" xMax="%f" yMax="%f"`, &x0, &y0, &x1, &y1); !found || err != nil {
			t.Fatalf("%s: not found in %s (%v)", want.word, boxes, err)
		}
		if got := sheet.Width(want.word, want.bold, want.size); math.Abs(got-(x1-x0)) > 0.15 {
			t.Errorf("%s is measured as %.2f points, poppler says %.2f", want.word, got, x1-x0)
		}
	}
}

func TestFixedWordsArePlain(t *testing.T) {
	var all strings.Builder
	for _, pages := range [][][]sheet.TextBox{sheet.FieldText(fullField(9, 37)), sheet.FieldText(cleanField()), sheet.FieldText(tinyField()), sheet.JobText(fullJob()), sheet.JobText(draftJob())} {
		for _, boxes := range pages {
			for _, b := range boxes {
				all.WriteString(strings.ToLower(b.Text) + "\n")
			}
		}
	}
	for _, word := range []string{"error", "invalid", "raster", "layer", "crs", "polygon", "upload", "epsg", "!", "barnyard"} { // words that a sheet never says
		if strings.Contains(all.String(), word) {
			t.Errorf("a sheet says %q", word)
		}
	}
}

func TestFiguresReadAsTheTradeWritesThem(t *testing.T) {
	// The voice of a sheet: a tenth from one acre up, a hundredth below, no cents above $100.
	for _, row := range []struct{ got, want string }{
		{sheet.Areas(sheet.US, 4.349), "4.3 acres"},
		{sheet.Areas(sheet.US, 0.0499), "0.05 acre"},
		{sheet.Areas(sheet.US, 0.994), "0.99 acre"},
		{sheet.Areas(sheet.US, 0.996), "1.0 acre"},
		{sheet.Areas(sheet.US, 0.003), "under 0.01 acres"},
		{sheet.Areas(sheet.US, 1184.25), "1,184.2 acres"},
		{sheet.Area(sheet.US, math.NaN()), "not known"},
		{sheet.Area(sheet.Metric, 100), "40.5"}, // 1 acre = 0.40468564224 ha, NIST SP 811
		{sheet.Dollars(1284.37), "$1,284"},
		{sheet.Dollars(99.5), "$99.50"},
		{sheet.Dollars(99.996), "$100"},
		{sheet.Dollars(40), "$40"},
		{sheet.Dollars(-250.6), "-$251"},
		{sheet.Whole(1234567.4), "1,234,567"},
		{sheet.Clean("caf\u00e9 \u65e5\u672c\n\tna\u00efve\u00a0x"), "caf\u00e9 ?? na\u00efve x"},
	} {
		if row.got != row.want {
			t.Errorf("got %q, want %q", row.got, row.want)
		}
	}
}

func TestMinutesCarryIntoDegrees(t *testing.T) {
	j := fullJob()
	j.Center = sheet.Position{Lon: 90.9999999, Lat: -35.9999999}
	text := plainText(t, jobPDF(t, j))
	if !strings.Contains(text, "36\u00b0 00.000\u2032 S, 91\u00b0 00.000\u2032 E") {
		t.Error("59.99999 minutes do not become a degree")
	}
}

// A field of 400 by 300 m must be as much wider than its scale bar as the bar's
// label says.
func TestMapIsTrueToItsScaleBar(t *testing.T) {
	for _, unit := range []struct {
		units  sheet.Units
		suffix string
		metres float64
	}{{sheet.US, " ft", 0.3048}, {sheet.Metric, " m", 1}} {
		j := sheet.JobSheet{Units: unit.units, Boundary: geo.MultiPolygon{{Outer: geo.Ring{at(0, 0), at(400, 0), at(400, 300), at(0, 300)}}}}
		picture, err := png.Decode(bytes.NewReader(jobPNG(t, j)))
		if err != nil {
			t.Fatal(err)
		}
		img := grey(picture)
		var label sheet.TextBox
		length := 0.0
		for _, b := range sheet.JobText(j)[0] {
			if n, found := strings.CutSuffix(b.Text, unit.suffix); found {
				if _, err := fmt.Sscanf(strings.ReplaceAll(n, ",", ""), "%f", &length); err == nil {
					label = b
				}
			}
		}
		if length == 0 {
			t.Fatal("the map has no scale bar")
		}
		const perPoint = 150.0 / 72
		y := int((label.Y + label.H - 0.7) * perPoint) // the lower edge of the bar
		bar := longestRun(img, y, int((label.X-3)*perPoint))
		field := 0
		for row := y - 400; row < y-30; row++ {
			field = max(field, longestRun(img, row, 760))
		}
		got, want := float64(field)/float64(bar), 400/(length*unit.metres)
		if math.Abs(got-want) > 0.02*want {
			t.Errorf("the field is %.3f bars of %g%s wide, want %.3f", got, length, unit.suffix, want)
		}
	}
}

// longestRun is the length of the longest dark stretch of a row, from the left
// edge to column end.
func longestRun(img *image.Gray, row, end int) int {
	best, run := 0, 0
	for x := range end {
		if darkness(img, x, row, 1) > 0.5 {
			run++
			best = max(best, run)
		} else {
			run = 0
		}
	}
	return best
}

func TestRoundedGroundSaysSo(t *testing.T) {
	f := fullField(1, 0)
	f.Acres, f.LookedAt = 39.94, 33.75
	f.LeftOut = []sheet.LeftOut{{Reason: "track", Acres: 2.71}, {Reason: "edge", Acres: 1.84}, {Reason: "levee", Acres: 1.64}}
	if text := plainText(t, fieldPDF(t, f)); !strings.Contains(text, "Left out 6.2: track 2.7, edge 1.8, levee 1.6. No answer speaks of that ground.") {
		t.Error("the left-out acres are not listed")
	}
	f.Acres, f.LookedAt = 39.94, 33.76
	f.LeftOut[0].Acres, f.LeftOut[1].Acres, f.LeftOut[2].Acres = 2.66, 1.86, 1.66
	if text := plainText(t, fieldPDF(t, f)); !strings.Contains(text, "Each figure is rounded.") {
		t.Error("figures that do not add up as printed must say why")
	}
}

// The lines of a hatch, each standing for its gap, must cover the area.
func TestHatchCoversTheArea(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for range 200 {
		var ring [][2]float64
		area, n := 0.0, 3+rng.IntN(30)
		for i := range n {
			a := 2 * math.Pi * float64(i) / float64(n)
			r := 20 + 60*rng.Float64()
			ring = append(ring, [2]float64{100 + r*math.Cos(a), 300 + r*math.Sin(a)})
		}
		for i, p := range ring {
			q := ring[(i+1)%n]
			area += (p[0]*q[1] - q[0]*p[1]) / 2
		}
		const gap = 0.5
		length, _ := sheet.HatchLength(ring, 180*rng.Float64(), gap)
		if got := length * gap; math.Abs(got-area) > 0.03*area+10 {
			t.Fatalf("hatched %.1f of %.1f square points", got, area)
		}
	}
}

func TestBrokenGeometryAndFiguresNeverStopASheet(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	bad := geo.MultiPolygon{{Outer: geo.Ring{{X: nan, Y: 0}, {X: 1, Y: inf}, {X: 2, Y: 2}}}, {}, {Outer: geo.Ring{{X: 5, Y: 5}}, Holes: []geo.Ring{{}}}}
	spot := geo.Ring{{X: originX, Y: originY}, {X: originX, Y: originY}, {X: originX, Y: originY}}
	f := fullField(3, 2)
	f.Suspects[0].Outline, f.Suspects[1].Outline, f.Suspects[2].Outline = bad, nil, geo.MultiPolygon{{Outer: spot}}
	f.Suspects[0].Center = geo.Point{X: nan, Y: nan}
	f.Suspects[1].Center = geo.Point{X: originX + 1e9, Y: 0}
	f.Killed, f.LeftOut[0].Outline, f.Checks[0].Outline = bad, bad, bad
	f.Levees = append(f.Levees, geo.Line{}, geo.Line{{X: nan}}, geo.Line{{X: 1}, {X: inf}})
	f.Plain.Bounds, f.Departure.Image = sheet.Bounds{}, image.NewGray(image.Rect(0, 0, 0, 0))
	f.Acres, f.Suspects[0].Acres, f.Alternatives[0].Cost = nan, inf, &nan
	fieldPDF(t, f)
	f.Boundary = bad
	fieldPDF(t, f)
	f.Boundary = geo.MultiPolygon{{Outer: spot}}
	fieldPDF(t, f)
	j := fullJob()
	j.Blocks[0].Outline, j.Blocks[1].HeadingDeg, j.Blocks[2].LongestRunFt = bad[0], nan, inf
	j.Marks[0].Lines, j.Marks[1].At, j.Marks[2].Outline = []geo.Line{{{X: nan}}}, &geo.Point{X: nan}, bad
	j.Center, j.BlockAcres = sheet.Position{Lon: nan, Lat: inf}, inf
	jobPDF(t, j)
	jobPNG(t, j)
	j.Boundary = bad
	jobPNG(t, j)
}

func TestFailedWriterIsReported(t *testing.T) {
	if err := sheet.Field(full{}, tinyField()); err == nil {
		t.Error("a field sheet on a full disk reports nothing")
	}
	if err := sheet.JobPNG(full{}, draftJob()); err == nil {
		t.Error("a picture on a full disk reports nothing")
	}
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, os.ErrClosed }

func BenchmarkField(b *testing.B) {
	f := fullField(9, 37)
	for b.Loop() {
		if err := sheet.Field(io.Discard, f); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkJobPNG(b *testing.B) {
	j := fullJob()
	for b.Loop() {
		if err := sheet.JobPNG(io.Discard, j); err != nil {
			b.Fatal(err)
		}
	}
}
