package sheet

import (
	"fmt"
	"strings"

	"bittern/internal/unit"
)

// Sizes of a job sheet, in points. Figures are never under figureSize.
const (
	figureSize = 10.5
	jobLabel   = 8.0
	jobLead    = 15.5 // between lines that are written on
	jobMapGap  = 12.0

	leastShare = 0.45 // of the page's width for the map

	leastJob   = 215.0 // height of the map and its foot, at least
	crampedJob = 165.0 // when the blocks stand elsewhere
	mostJob    = 345.0 // at most
)

// Sentences that stand where a list or a figure is missing.
const (
	noneEntered = "NONE ENTERED \u2014 not surveyed. Pilot must look."
	noProducts  = "No products were typed. Write the mix from the label:"
	labelIsLaw  = "The label is the law. The licensed applicator and the pilot decide whether, when and on which heading to fly. Local rules come first."
	emergency   = "Emergency: 911. Poison Control 800-222-1222. Chemical spill or fire: CHEMTREC 800-424-9300." // docs/references.md R11: USDA record manual
)

// layJob sets a job sheet on pages: one, unless blocks or lists are too many
// for it; they then go on to a second, and the first says so.
func layJob(j JobSheet, faces *typefaces) []*page {
	w := &flow{faces: faces, left: 32, width: pageW - 64, top: 40, bottom: pageH - 24}
	w.next()
	w.y = 26
	jobHead(w, j)
	jobParties(w, j)
	bottom := w.bottom - appliedHeight - jobFootHeight(w, j)
	lines := mixLines
	if w.y+w.measure(func(s *flow) { jobMix(s, j, lines); jobAcres(s, j) })+elsewhere > bottom {
		lines = 1 // so many products with such names that the box to write in would have no room
	}
	jobMix(w, j, lines)
	jobAcres(w, j)
	t, rows := jobBlockTable(w, j.Units), jobBlockRows(w, j)
	blocks := t.heightOf(rows) + 4
	mapHere := w.y+crampedJob+elsewhere <= bottom
	here := w.y+leastJob+blocks <= bottom
	var rest leftover
	switch {
	case here:
		rest = jobMiddle(w, j, min(bottom-w.y-blocks, mostJob))
		jobBlocks(w, t, rows)
	case mapHere:
		rest = jobMiddle(w, j, min(bottom-w.y-elsewhere, mostJob))
		w.write(w.left, w.y+11, "The blocks are listed on page 2.", style{bold, figureSize, black})
	default:
		w.write(w.left, w.y+11, "The map, the hazards and the blocks are on page 2.", style{bold, figureSize, black})
	}
	w.y = bottom
	jobApplied(w, j.Units)
	jobFoot(w, j)
	if !mapHere {
		w.next()
		rest = jobMiddle(w, j, mostJob+60)
	}
	jobRest(w, t, rows, rest, here, mapHere)
	if len(w.pages) > 1 {
		jobPageNumbers(w, j)
	}
	return w.pages
}

// mixLines is how many lines a product's name may take.
const mixLines = 3

// elsewhere is the height of the line that says where the rest is.
const elsewhere = 16.0

// leftover are the lines of the two lists that the first page had no room for.
type leftover struct{ hazards, neighbours []Listed }

// jobRest sets on further pages what the first had no room for.
func jobRest(w *flow, t table, rows [][]cell, rest leftover, blocksSet, mapSet bool) {
	if blocksSet && len(rest.hazards) == 0 && len(rest.neighbours) == 0 {
		return
	}
	listText, _ := listStyles()
	if mapSet {
		w.next()
	}
	if !blocksSet {
		jobBlocks(w, t, rows)
		w.y += 10
	}
	for _, l := range [...]struct {
		title string
		list  []Listed
	}{{"HAZARDS, continued", rest.hazards}, {"SENSITIVE NEIGHBOURS, continued", rest.neighbours}} {
		if len(l.list) == 0 {
			continue
		}
		w.need(30)
		w.write(w.left, w.y+10, l.title, style{bold, 10, black})
		w.y += 14
		for _, item := range l.list {
			w.para(item.line(), listText)
		}
		w.y += 8
	}
}

// jobHead sets the number, the revision, the date and the code that is read
// back over the telephone.
func jobHead(w *flow, j JobSheet) {
	y := w.y
	big := style{bold, 24, black}
	x := w.left + w.write(w.left, y+22, "JOB ", style{regular, 24, black})
	if j.Number != "" {
		s, st := w.faces.fit(j.Number, big, 120, 12)
		w.write(x+6, y+22, s, st)
	} else {
		w.p.rule(pen{ink: black, width: 0.6}, x+6, y+23, x+90, y+23)
	}
	rev := fmt.Sprintf("REV %d", j.Revision)
	width := w.faces[bold].width(rev, 30)
	w.write(w.left+212, y+24, rev, style{bold, 30, black})
	if j.Revision > 1 {
		w.write(w.left+212, y+37, fmt.Sprintf("replaces REV %d: destroy it", j.Revision-1), style{bold, 10, black})
	} else {
		w.write(w.left+212, y+37, "first issue", style{regular, 9.5, black})
	}
	col := w.left + 212 + width + 22
	w.write(col, y+7, "date", style{regular, jobLabel, quiet})
	blankOr(w, col, y+24, w.right()-col-118, j.Date, style{bold, 12, black})
	w.write(w.right()-106, y+7, "read back this code", style{regular, jobLabel, quiet})
	if j.Code == "" {
		blankOr(w, w.right()-106, y+24, 106, "", style{bold, 12, black})
	}
	w.writeFit(w.right()-106, y+27, spaced(j.Code), style{bold, 21, black}, 106, 10)
	machine := joined(": ", "for", j.Machine)
	if j.Machine != "" {
		w.writeFit(w.left, y+37, machine, style{regular, figureSize, black}, 204, 8)
	}
	w.y = y + 42
	if j.State != "ready" {
		jobDraft(w, j)
	}
	if j.Unpinned != "" {
		w.para("UNPINNED. "+j.Unpinned, style{bold, figureSize, black})
		w.y++
	}
	w.p.rule(pen{ink: black, width: 1.2}, w.left, w.y, w.right(), w.y)
	w.y += 3
}

// jobDraft says in white on black that this is no order yet, and why.
func jobDraft(w *flow, j JobSheet) {
	st := style{bold, 17, white}
	why := "Not to be flown or driven yet."
	if len(j.WhyDraft) > 0 {
		why = strings.Join(j.WhyDraft, " ")
	}
	lines, ws := w.faces.short(why, style{bold, figureSize, white}, w.width-92, 6, 8)
	h := max(24, float64(len(lines))*ws.lead()+7)
	w.p.box(black, rect{w.left, w.y, w.width, h})
	w.write(w.left+8, w.y+h/2+6, "DRAFT", st)
	w.lines(w.left+84, w.y+(h-float64(len(lines))*ws.lead())/2, lines, ws)
	w.y += h + 3
}

// spaced sets a code apart in threes, so that it can be read out.
func spaced(code string) string {
	if len(code) == 6 {
		return code[:3] + " " + code[3:]
	}
	return code
}

// blankOr writes s above a line of the given width, or leaves the line to be
// written on.
func blankOr(w *flow, x, y, width float64, s string, st style) {
	w.p.rule(pen{ink: quiet, width: 0.4}, x, y+2.5, x+width, y+2.5)
	w.writeFit(x, y, s, st, width, 7.5)
}

// A blank is a label with its value, or with room to write it.
type blank struct {
	label, value string
	share        float64 // of the line's width
}

// blanks sets labels and values in one line.
func blanks(w *flow, x, y, width float64, fields ...blank) {
	end := x + width
	for i, f := range fields {
		full := f.share*width - 6
		if i == len(fields)-1 {
			full = end - x
		}
		label, ls := w.faces.fit(f.label, style{regular, jobLabel, quiet}, full*0.6, 6.5)
		lw := w.write(x, y, label, ls)
		if lw > 0 {
			lw += 4
		}
		blankOr(w, x+lw, y, full-lw, f.value, style{regular, figureSize, black})
		x += f.share * width
	}
}

// jobParties says whose field it is, where it lies, and who is to be called.
func jobParties(w *flow, j JobSheet) {
	half := w.width/2 - 8
	left, right := w.left, w.right()-half
	y := w.y + 11
	acres := ""
	if j.FieldAcres > 0 {
		acres = j.Units.area(j.FieldAcres)
	}
	blanks(w, left, y, w.width, blank{"field, as the service knows it", j.Field, 0.82}, blank{j.Units.areaName(), acres, 0.18})
	y += jobLead
	rows := [][2][]blank{
		{{{"farm, tract, field no.", j.FarmNumbers, 1}}, {{"grower", j.Grower, 1}}},
		{{{"county", j.County, 0.44}, {"section", j.Section, 0.56}}, {{"phone, day", j.PhoneDay, 0.5}, {"night", j.PhoneNight, 0.5}}},
		{{{"from the strip", j.FromStrip, 0.56}, {"road", j.Road, 0.44}}, {{"ordered by", j.OrderedBy, 1}}},
		{{{"flying service", j.Service, 1}}, {{"bill to", j.BillTo, 1}}},
	}
	for _, r := range rows {
		blanks(w, left, y, half, r[0]...)
		blanks(w, right, y, half, r[1]...)
		y += jobLead
	}
	minutes, degrees := "", ""
	if j.Center != (Position{}) {
		minutes, degrees = j.Center.minutesAndDegrees()
	}
	blanks(w, left, y, w.width, blank{"field centre", minutes, 0.56}, blank{"decimal degrees", degrees, 0.44})
	y += jobLead
	minutes, degrees = "", ""
	if j.Entry != nil {
		minutes, degrees = j.Entry.minutesAndDegrees()
	}
	blanks(w, left, y, w.width, blank{"entry", minutes, 0.56}, blank{"decimal degrees", degrees, 0.44})
	y += jobLead
	blanks(w, left, y, w.width, blank{"crop", j.Crop, 0.18}, blank{"stage", j.Stage, 0.22}, blank{"height", j.Height, 0.18},
		blank{"flood", j.Flood, 0.18}, blank{"drop water by", j.DropWaterBy, 0.24})
	w.y = y + 7
}

// jobMix sets the products as they were typed, in mixing order.
func jobMix(w *flow, j JobSheet, lines int) {
	t := table{w: w, size: figureSize, head: jobLabel, gap: 6, lines: lines, pad: 1.6, columns: []column{
		{title: "", width: 16},
		{title: "product, in mixing order", width: 168},
		{title: "reg. no.", width: 80},
		{title: "rate", width: 76},
		{title: "total", width: 68},
		{title: "per load", width: 64},
		{title: "REI", width: 36},
		{title: "PHI", width: 40},
	}}
	if len(j.Products) == 0 {
		said := j.NoMix
		if said == "" {
			said = noProducts
		}
		w.y += 2
		w.para(said, style{bold, 9.5, black})
	}
	t.titles()
	rows := j.Products
	if len(rows) == 0 {
		rows = make([]Product, 2)
	}
	for i, p := range rows {
		season := p.Season
		if season != "" {
			season = "season: " + season
		}
		t.row([]cell{
			{text: fmt.Sprint(i + 1)},
			{text: p.Name, note: season, font: bold},
			{text: p.Registration},
			{text: p.Rate, font: bold},
			{text: p.Total},
			{text: p.PerLoad},
			{text: p.REI},
			{text: p.PHI},
		}, false)
	}
	w.y += 8
	blanks(w, w.left, w.y+2, w.width, blank{"carrier", j.Carrier, 0.2}, blank{"droplets", j.Droplet, 0.2}, blank{"wind up to", j.MaxWind, 0.2},
		blank{"release height", j.ReleaseHeight, 0.22}, blank{"group", j.Group, 0.18})
	w.y += 10
}

// jobAcres sets the acres three ways, large, and the loads.
func jobAcres(w *flow, j JobSheet) {
	u := j.Units
	after := " ac"
	if u == Metric {
		after = " ha"
	}
	weeds := ""
	if j.WeedsAcres != nil {
		weeds = u.area(*j.WeedsAcres) + after
		if j.WeedsLow != nil && j.WeedsHigh != nil {
			weeds += " (" + u.area(*j.WeedsLow) + "\u2013" + u.area(*j.WeedsHigh) + ")"
		}
	}
	billed := ""
	if j.BilledAcres != nil {
		billed = u.area(*j.BilledAcres) + after
	}
	w.y += 2
	w.p.rule(pen{ink: black, width: 1.2}, w.left, w.y, w.right(), w.y)
	figures := []blank{
		{"weeds, estimated", weeds, 0.25},
		{"blocks", u.area(j.BlockAcres) + after, 0.16},
		{"valve on", u.area(j.ValveOnAcres) + after, 0.16},
		{"billed", billed, 0.16},
		{"loads", joined(", ", j.Loads, j.Gallons, j.Balance), 0.27},
	}
	x := w.left
	for i, f := range figures {
		width := f.share*w.width - 8
		w.write(x, w.y+11, f.label, style{regular, jobLabel, quiet})
		if i == len(figures)-1 {
			lines, st := w.faces.short(f.value, style{bold, figureSize, black}, width+8, 2, 8)
			if len(lines) == 0 {
				w.p.rule(pen{ink: quiet, width: 0.4}, x, w.y+27, x+width, w.y+27)
			}
			w.lines(x, w.y+13, lines, st)
			continue
		}
		if f.value == "" {
			w.p.rule(pen{ink: quiet, width: 0.4}, x, w.y+27, x+width, w.y+27)
		}
		w.writeFit(x, w.y+26, f.value, style{bold, 14, black}, width, 9)
		x += f.share * w.width
	}
	w.y += 44
	w.p.rule(pen{ink: black, width: 0.6}, w.left, w.y-4, w.right(), w.y-4)
}

// jobMiddle sets the map, and beside it the headings, the hazards and the
// neighbours. It returns what of the lists had no room.
func jobMiddle(w *flow, j JobSheet, height float64) leftover {
	box, lists := jobBoxes(w, j, height)
	jobMap(w, j, box)
	side := &flow{
		faces: w.faces, p: w.p, pages: w.pages, y: lists.y, bottom: w.y + height,
		left: lists.x, width: lists.w, firstOfAPage: true,
	}
	if lists.x == w.left { // under the map: two columns
		return jobListsBelow(w, side, j)
	}
	jobHeadings(side, j)
	needH, needN := listHeight(side, j.Hazards), listHeight(side, j.Neighbours)
	room := side.bottom - side.y
	forHazards := min(needH, max(room/2, room-needN))
	var rest leftover
	rest.hazards = jobListed(side, "HAZARDS", j.Hazards, side.y+forHazards)
	rest.neighbours = jobListed(side, "SENSITIVE NEIGHBOURS", j.Neighbours, side.bottom)
	w.y += height + 2
	return rest
}

// jobBoxes places the map and the lists: the lists beside the map, or below it
// when the field is much wider than high.
func jobBoxes(w *flow, j JobSheet, height float64) (chart, lists rect) {
	narrow := &flow{faces: w.faces, width: w.width*leastShare - jobMapGap/2}
	foot := 20 + jobMapKey(j).height(narrow) // scale and north, and the key
	ground := jobGround(j)
	aspect := ground.width() / ground.height()
	const forLists, leastWide = 110, 64
	if aspect > 2 && height-foot-forLists >= leastWide {
		h := min(height-foot-forLists, max(70, w.width/aspect))
		return rect{w.left, w.y, w.width, h}, rect{w.left, w.y + h + foot + 2, w.width, height - h - foot - 2}
	}
	mapWidth := min(w.width*0.6, max(w.width*leastShare, (height-foot)*aspect)) - jobMapGap/2
	x := w.left + mapWidth + jobMapGap
	return rect{w.left, w.y, mapWidth, height - foot}, rect{x, w.y, w.right() - x, height}
}

// jobListsBelow sets headings and hazards in one column, neighbours in the other.
func jobListsBelow(w, side *flow, j JobSheet) leftover {
	gap := 14.0
	side.width = (side.width - gap) / 2
	top := side.y
	var rest leftover
	jobHeadings(side, j)
	rest.hazards = jobListed(side, "HAZARDS", j.Hazards, side.bottom)
	hazards := side.y
	side.y, side.left = top, side.left+side.width+gap
	rest.neighbours = jobListed(side, "SENSITIVE NEIGHBOURS", j.Neighbours, side.bottom)
	w.y = max(hazards, side.y) + 4
	return rest
}

func jobHeadings(w *flow, j JobSheet) {
	if len(j.Headings) == 0 {
		return
	}
	t := table{w: w, size: figureSize, head: jobLabel, gap: 6, lines: 1, pad: 1.6, columns: []column{
		{title: "headings that work", width: w.width - 3*w.width*0.2},
		{title: "runs", width: w.width * 0.16, right: true},
		{title: "valve on", width: w.width * 0.22, right: true},
		{title: "cost", width: w.width * 0.22, right: true},
	}}
	t.titles()
	for _, h := range j.Headings[:min(3, len(j.Headings))] {
		font := regular
		if h.Chosen {
			font = bold
		}
		cost := ""
		if h.Cost != nil {
			cost = dollars(*h.Cost)
		}
		both := degrees3(h.HeadingDeg) + " / " + degrees3(h.HeadingDeg+180)
		t.row([]cell{
			{text: both, font: font},
			{text: fmt.Sprint(h.Runs), font: font},
			{text: j.Units.area(h.Acres), font: font},
			{text: cost, font: font},
		}, h.Chosen)
	}
	w.write(w.left, w.y+7, "Drawn for the shaded one. The pilot or operator chooses.", style{regular, jobLabel, quiet})
	w.y += 14
}

// line is a hazard or a neighbour as it is printed.
func (l Listed) line() string {
	text := "\u2022 " + l.What
	if by := joined(" by ", l.Entered, l.By); by != "" {
		text += " (entered " + by + ")"
	}
	return text
}

// listStyles are how the lines of a list are set, and the words that stand
// where it is empty.
func listStyles() (text, none style) {
	return style{regular, 10, black}, style{bold, figureSize, black}
}

// listHeight is what a list takes with its title.
func listHeight(w *flow, list []Listed) float64 {
	listText, listNone := listStyles()
	h := 14 + 5.0
	if len(list) == 0 {
		return h + float64(len(w.faces.wrap(noneEntered, listNone, w.width)))*listNone.lead()
	}
	for _, l := range list {
		h += float64(len(w.faces.wrap(l.line(), listText, w.width))) * listText.lead()
	}
	return h
}

// jobListed sets a list that ends above bottom, or the words that it is empty.
// It returns the lines that did not fit, and says on the page how many.
func jobListed(w *flow, title string, list []Listed, bottom float64) []Listed {
	listText, listNone := listStyles()
	w.write(w.left, w.y+10, title, style{bold, 10, black})
	w.y += 14
	if len(list) == 0 {
		w.y = w.lines(w.left, w.y, w.faces.wrap(noneEntered, listNone, w.width), listNone) + 5
		return nil
	}
	for i, item := range list {
		lines := w.faces.wrap(item.line(), listText, w.width)
		room := bottom - w.y - 4
		if i < len(list)-1 {
			room -= listText.lead()
		}
		if float64(len(lines))*listText.lead() > room {
			more := fmt.Sprintf("and %d more on the last page", len(list)-i)
			if i == 0 {
				more = fmt.Sprintf("%d, all on the last page", len(list))
			}
			w.y = w.lines(w.left, w.y, []string{more}, style{bold, 10, black}) + 5
			return list[i:]
		}
		w.y = w.lines(w.left, w.y, lines, listText)
	}
	w.y += 5
	return nil
}

func jobBlockTable(w *flow, u Units) table {
	length := "longest run, ft"
	if u == Metric {
		length = "longest run, m"
	}
	return table{w: w, size: figureSize, head: jobLabel, gap: 7, lines: 3, pad: 1.6, columns: []column{
		{title: "block", width: 34},
		{title: u.areaName(), width: 42, right: true},
		{title: "valve on", width: 46, right: true},
		{title: "centre", width: 166},
		{title: "runs", width: 36, right: true},
		{title: "heading", width: 54, right: true},
		{title: length, width: 54, right: true},
		{title: "shortest open, s", width: 52, right: true},
		{title: "no wind from", width: 64, right: true},
	}}
}

func jobBlockRows(w *flow, j JobSheet) [][]cell {
	rows := make([][]cell, len(j.Blocks))
	for i, b := range j.Blocks {
		minutes := ""
		if b.Center != (Position{}) {
			minutes, _ = b.Center.minutesAndDegrees()
		}
		longest := b.LongestRunFt
		if j.Units == Metric {
			longest *= unit.MetersPerFoot
		}
		rows[i] = []cell{
			{text: b.ID, font: bold},
			{text: j.Units.area(b.Acres), font: bold},
			{text: j.Units.area(b.ValveOnAcres)},
			{text: minutes},
			{text: fmt.Sprint(b.Runs)},
			{text: degrees3(b.HeadingDeg)},
			{text: whole(longest)},
			{text: fmt.Sprintf("%.1f", b.ShortestOpen)},
			{text: b.WindNotFrom, draw: blankUnless(w, b.WindNotFrom)},
		}
	}
	return rows
}

// blankUnless draws a line to write on in a cell that holds nothing.
func blankUnless(w *flow, s string) func(rect) {
	if s != "" {
		return nil
	}
	return func(r rect) { w.p.rule(pen{ink: quiet, width: 0.4}, r.x+8, r.bottom()-1, r.right(), r.bottom()-1) }
}

func jobBlocks(w *flow, t table, rows [][]cell) {
	if len(rows) == 0 {
		w.para("No blocks: nothing is to be applied.", style{bold, figureSize, black})
		return
	}
	t.titles()
	for _, r := range rows {
		t.row(r, false)
	}
	w.y += 2
}

const appliedHeight = 66.0

// jobApplied is the box that is filled in by hand after the job.
func jobApplied(w *flow, u Units) {
	volume := "gallons"
	if u == Metric {
		volume = "litres"
	}
	w.p.rule(pen{ink: black, width: 1.2}, w.left, w.y, w.right(), w.y)
	w.write(w.left, w.y+11, "APPLIED", style{bold, 10, black})
	w.write(w.left+54, w.y+11, "to be written after the job: what was done, not what was planned", style{regular, jobLabel, quiet})
	y := w.y + 25
	blanks(w, w.left, y, w.width,
		blank{"date", "", 0.14}, blank{"start", "", 0.12}, blank{"wind from, mph", "", 0.2}, blank{"temp", "", 0.11}, blank{"RH", "", 0.1},
		blank{u.areaName(), "", 0.15}, blank{volume, "", 0.18})
	blanks(w, w.left, y+jobLead, w.width,
		blank{"", "", 0.14}, blank{"end", "", 0.12}, blank{"wind from, mph", "", 0.2}, blank{"temp", "", 0.11}, blank{"RH", "", 0.1},
		blank{"blocks not done", "", 0.33})
	blanks(w, w.left, y+2*jobLead, w.width,
		blank{"pilot or operator", "", 0.31}, blank{"cert. no.", "", 0.2}, blank{"tail no.", "", 0.16}, blank{"signature", "", 0.33})
	w.y += appliedHeight
}

// jobFootLines are the lines of the foot. Cautions are never cut short.
func jobFootLines(w *flow, j JobSheet) (law, files []string, small style) {
	text := strings.Join(append([]string{labelIsLaw}, j.Cautions...), " ")
	law = w.faces.wrap(text, style{regular, 9, black}, w.width)
	files, small = w.faces.short(inputsText(j.Inputs, j.Program), style{regular, 7.5, quiet}, w.width, 4, 6.5)
	return law, files, small
}

func jobFootHeight(w *flow, j JobSheet) float64 {
	law, files, small := jobFootLines(w, j)
	return 6 + float64(len(law)+1)*style{size: 9}.lead() + float64(len(files))*small.lead()
}

// jobFoot sets what always holds, whom to call, and what the sheet rests on.
func jobFoot(w *flow, j JobSheet) {
	law, files, small := jobFootLines(w, j)
	w.p.rule(pen{ink: hair, width: 0.5}, w.left, w.y+2, w.right(), w.y+2)
	w.y += 4
	w.y = w.lines(w.left, w.y, law, style{regular, 9, black})
	w.y = w.lines(w.left, w.y, []string{emergency}, style{bold, 9, black})
	w.y = w.lines(w.left, w.y, files, small)
}

func jobPageNumbers(w *flow, j JobSheet) {
	for i, p := range w.pages {
		w.p = p
		s := fmt.Sprintf("page %d of %d", i+1, len(w.pages))
		if i > 0 {
			s = joined(" \u00b7 ", "JOB "+j.Number, fmt.Sprintf("REV %d", j.Revision), spaced(j.Code), s)
		}
		w.writeRight(w.right(), 20, s, style{bold, 9, black})
	}
}
