package app

import (
	"context"
	"fmt"
	"os"

	"bittern/internal/doubt"
	"bittern/internal/typed"
)

// readTyped looks at the folder and reads what a person typed, before any
// picture is opened.
func (r *run) readTyped(context.Context) (err error) {
	if r.folder, err = openFolder(r.Out); err != nil {
		return err
	}
	return r.readGiven()
}

// readGiven reads what a person typed.
func (r *run) readGiven() (err error) {
	if r.Prices != "" {
		if r.given.prices, err = typed.ReadPrices(r.Prices); err != nil {
			return err
		}
		if err := r.input("prices", r.Prices); err != nil {
			return err
		}
	}
	if err := r.readProducts(); err != nil {
		return err
	}
	for _, path := range r.Applicators {
		if err := r.readApplicator(path); err != nil {
			return err
		}
	}
	if err := r.notUsedYet(); err != nil {
		return err
	}
	return r.readPlaces()
}

func (r *run) readProducts() (err error) {
	if r.Products == "" {
		return nil
	}
	if r.given.mix, err = typed.ReadProducts(r.Products); err != nil {
		return err
	}
	return r.input("products", r.Products)
}

func (r *run) readApplicator(path string) error {
	a, err := typed.ReadApplicator(path)
	if err != nil {
		return err
	}
	a.Name = a.Called()
	for _, other := range r.given.applicators {
		if other.Name == a.Name {
			return &doubt.Problem{File: path, What: fmt.Sprintf("a second applicator is called %q", a.Name), Remedy: "give each a name of its own"}
		}
	}
	r.given.applicators = append(r.given.applicators, a)
	return r.input("applicator", path)
}

// notUsedYet checks inputs that no stage reads yet, so that what is wrong with
// them is still said.
func (r *run) notUsedYet() (err error) {
	if r.Before != "" {
		info, err := os.Stat(r.Before)
		switch {
		case err != nil:
			return unread(r.Before, err)
		case info.IsDir():
			return &doubt.Problem{File: r.Before, What: "this is a folder, not a file", Remedy: "give the picture itself"}
		}
	}
	if err := r.readStrips(); err != nil {
		return err
	}
	if r.Sightings != "" {
		r.given.sightings, err = typed.ReadSightings(r.Sightings)
	}
	return err
}

// checkSightings refuses sightings of suspects that this day does not have.
func (r *run) checkSightings() error {
	known := map[string]bool{"": true}
	for _, s := range r.finding.Suspects {
		known[s.ID], known[s.Letter] = true, true
	}
	for _, s := range r.given.sightings {
		if !known[s.Suspect] {
			return &doubt.Problem{
				File: r.Sightings, What: fmt.Sprintf("line %d is of suspect %q, which this day does not have", s.Line, s.Suspect),
				Remedy: "correct the letter, or leave it empty for a control stop",
			}
		}
	}
	return nil
}

// Blank is an empty typed file with comments. An unknown name is a
// *doubt.Problem.
func Blank(name string) ([]byte, error) { return typed.Blank(name) }
