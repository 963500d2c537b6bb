package app

import "context"

// readTyped looks at the folder and reads what a person typed, before any
// picture is opened.
func (r *run) readTyped(context.Context) (err error) {
	if r.folder, err = openFolder(r.Out); err != nil {
		return err
	}
	return r.readPlaces()
}

// Blank is an empty typed file with comments.
func Blank(name string) ([]byte, error) { return nil, nil }
