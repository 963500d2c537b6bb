// Package typed reads what a person types in files: prices, products,
// applicators and sightings. It turns them into the stages' own types.
//
// A key that is left out is "not given" and stays nil. A key that is unknown, a
// value of the wrong kind, and a figure that cannot be meant are refused, with
// the line they stand on, as a *doubt.Problem. The shapes are those of
// docs/methods/typed.md.
package typed

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"reflect"
	"strconv"
	"strings"

	toml "github.com/pelletier/go-toml/v2"

	"bittern/internal/doubt"
)

// mostBytes is the largest typed file that is read.
const mostBytes = 1 << 20

// read returns the contents of a typed file.
func read(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, opening(path, err)
	}
	defer func() { _ = f.Close() }() // only read
	data, err := io.ReadAll(io.LimitReader(f, mostBytes+1))
	switch {
	case err != nil:
		return nil, opening(path, err)
	case len(data) > mostBytes:
		return nil, &doubt.Problem{File: path, What: "is too large for a typed file", Remedy: "name the file that bittern blank wrote"}
	}
	return data, nil
}

// opening says why a file cannot be read.
func opening(path string, err error) error {
	p := &doubt.Problem{File: path, What: "cannot be read", Remedy: "check that the file is there and may be read", Err: err}
	switch info, statErr := os.Stat(path); {
	case errors.Is(err, fs.ErrNotExist):
		p.What, p.Remedy = "there is no such file", "check the name"
	case statErr == nil && info.IsDir():
		p.What, p.Remedy = "is a folder", "name the file in it"
	}
	return p
}

// decode fills into, a pointer to a struct, from TOML.
func decode(name string, data []byte, into any) error {
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf")) // some editors put a mark of three bytes first
	d := toml.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	err := d.Decode(into)
	if err == nil {
		return nil
	}
	var strict *toml.StrictMissingError
	var broken *toml.DecodeError
	switch {
	case errors.As(err, &strict) && len(strict.Errors) > 0:
		line, _ := strict.Errors[0].Position()
		key := strict.Errors[0].Key()
		return unknown(name, line, key, into)
	case errors.As(err, &broken):
		line, _ := broken.Position()
		return wrong(name, line, broken)
	}
	return &doubt.Problem{File: name, What: "cannot be read", Remedy: "start again from bittern blank", Err: err}
}

// unknown names a key that no typed file of this sort has, and those that it has.
func unknown(name string, line int, key []string, into any) error {
	return &doubt.Problem{
		File:   name,
		What:   fmt.Sprintf("line %d: %s is not known here", line, strings.Join(key, ".")),
		Remedy: "use " + strings.Join(keys(reflect.TypeOf(into).Elem(), key[:len(key)-1]), ", "),
	}
}

// keys lists the keys of a struct, or of the table in it that path leads to.
func keys(t reflect.Type, path []string) []string {
	for t.Kind() == reflect.Slice || t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	if t.Kind() != reflect.Struct {
		return nil
	}
	var out []string
	for i := range t.NumField() {
		tag := t.Field(i).Tag.Get("toml")
		if len(path) > 0 && tag == path[0] {
			if under := keys(t.Field(i).Type, path[1:]); under != nil {
				return under
			}
		}
		out = append(out, tag)
	}
	return out
}

// wrong says that a line cannot be read, or that its value is of another kind.
func wrong(name string, line int, e *toml.DecodeError) error {
	p := &doubt.Problem{File: name, Err: e}
	key := strings.Join(e.Key(), ".")
	switch {
	case key == "":
		p.What = fmt.Sprintf("line %d cannot be read", line)
		p.Remedy = "write it as key = value, with words in quotation marks"
	case strings.Contains(e.Error(), "already defined"):
		p.What = fmt.Sprintf("line %d: %s stands there twice", line, key)
		p.Remedy = "keep one of them"
	default:
		p.What = fmt.Sprintf("line %d: the value of %s is of the wrong kind", line, key)
		p.Remedy = "write a number without quotation marks and without a unit, and words in quotation marks"
	}
	return p
}

// A figure is one typed number and the range in which it can be meant.
type figure struct {
	key     string
	value   *float64
	low, up float64
	above   bool // low itself is not allowed
}

// place says where in a file keys stand.
type place struct {
	name  string
	data  []byte
	table string // "charge", "product"; empty at the top
	nth   int    // which of several tables of that name, from 0
}

// check refuses the first figure that cannot be meant.
func (p place) check(figures []figure) error {
	for _, f := range figures {
		if f.value == nil {
			continue
		}
		v := *f.value
		if v >= f.low && v <= f.up && (!f.above || v > f.low) {
			continue
		}
		remedy := fmt.Sprintf("write a number from %s to %s", short(f.low), short(f.up))
		if f.above {
			remedy = fmt.Sprintf("write a number above %s and up to %s", short(f.low), short(f.up))
		}
		return p.refuse(f.key, fmt.Sprintf("%s cannot be %s", f.key, short(v)), remedy)
	}
	return nil
}

// refuse is a problem at a key.
func (p place) refuse(key, what, remedy string) error {
	if line := p.line(key); line > 0 {
		what = fmt.Sprintf("line %d: %s", line, what)
	}
	return &doubt.Problem{File: p.name, What: what, Remedy: remedy}
}

// line is the number of the line on which a key of the table stands, 0 when it
// is written in another way than key = value.
func (p place) line(key string) int {
	table, nth := "", map[string]int{}
	for i, text := range strings.Split(string(p.data), "\n") {
		text = strings.TrimSpace(text)
		if strings.HasPrefix(text, "[") && !strings.Contains(text, "=") {
			table = strings.Trim(strings.TrimSpace(strings.SplitN(text, "#", 2)[0]), "[] \t")
			nth[table]++
			continue
		}
		left, _, ok := strings.Cut(text, "=")
		if ok && strings.Trim(strings.TrimSpace(left), `"'`) == key && table == p.table && (table == "" || nth[table] == p.nth+1) {
			return i + 1
		}
	}
	return 0
}

// short prints a number as short as it is exact.
func short(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "that"
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}
