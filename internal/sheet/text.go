package sheet

import (
	"strings"
	"unicode"
)

// standIn is what is printed for a character that the embedded fonts lack.
func standIn(r rune) string {
	switch r {
	case '\u00a0', '\u2007', '\u2009', '\u202f', '\u200a', '\u2002', '\u2003':
		return " "
	case '\u2010', '\u2011', '\u2012':
		return "-"
	case '\u2212':
		return "\u2013"
	case '\u00ad', '\u200b', '\u200c', '\u200d', '\u2060', '\ufeff', '\ufe0f', '\ufe0e':
		return ""
	}
	return "?"
}

// clean makes s fit to print: one line, single spaces, and only characters
// that both fonts can draw. A character that no stand-in is known for becomes
// a question mark, so that a name keeps its length and its gap is seen.
func (t *typefaces) clean(s string) string {
	var b strings.Builder
	for _, r := range s {
		switch {
		case unicode.IsSpace(r) || unicode.IsControl(r):
			b.WriteByte(' ')
		case r == '\u2212' || t[regular].glyph(r) == 0 || t[bold].glyph(r) == 0:
			b.WriteString(standIn(r))
		default:
			b.WriteRune(r)
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

// A style is how a text is set.
type style struct {
	font fontID
	size float64 // points
	ink  ink
}

// lead is the distance from one baseline to the next.
func (s style) lead() float64 { return 1.24 * s.size }

// wrap breaks s into lines of at most width points, at spaces; a word that is
// longer than a line is broken where it must be.
func (t *typefaces) wrap(s string, st style, width float64) []string {
	f := t[st.font]
	var lines []string
	line := ""
	for word := range strings.FieldsSeq(t.clean(s)) {
		joined := strings.TrimPrefix(line+" "+word, " ")
		if f.width(joined, st.size) <= width {
			line = joined
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		for f.width(word, st.size) > width {
			n := fits(f, word, st.size, width)
			lines = append(lines, word[:n])
			word = word[n:]
		}
		line = word
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// fits returns how many bytes of word fit into width, at least one character.
func fits(f *face, word string, size, width float64) int {
	var w float64
	for i, r := range word {
		w += f.advance(f.glyph(r)) * size
		if w > width && i > 0 {
			return i
		}
	}
	return len(word)
}

// fit returns s and the style in which it takes at most width on one line: it
// is set smaller, down to least points, and then cut short with an ellipsis.
func (t *typefaces) fit(s string, st style, width, least float64) (string, style) {
	s = t.clean(s)
	f := t[st.font]
	if w := f.width(s, st.size); w > width && w > 0 {
		st.size = max(least, st.size*width/w*0.999)
	}
	if f.width(s, st.size) <= width {
		return s, st
	}
	runes := []rune(s)
	for len(runes) > 0 && f.width(string(runes)+"\u2026", st.size) > width {
		runes = runes[:len(runes)-1]
	}
	return strings.TrimRight(string(runes), " ,;") + "\u2026", st
}

// short wraps s into at most lines lines, setting it smaller, down to least
// points, before it cuts the last line short.
func (t *typefaces) short(s string, st style, width float64, lines int, least float64) ([]string, style) {
	for {
		got := t.wrap(s, st, width)
		if len(got) <= lines {
			return got, st
		}
		if st.size-0.5 < least {
			rest := strings.Join(got[lines-1:], " ")
			last, _ := t.fit(rest, st, width, st.size)
			return append(got[:lines-1:lines-1], last), st
		}
		st.size -= 0.5
	}
}
