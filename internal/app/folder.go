package app

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"

	"bittern/internal/doubt"
)

// stagePrefix begins the names of folders that a run makes while it writes.
const stagePrefix = ".tmp-bittern-"

// A folder is the place that a day is written to. Files are written beside
// their final places and moved there when all are whole, so that the folder
// either holds the new day or is as it was.
type folder struct {
	dir     string // as the user gave it
	exists  bool
	earlier *Day   // the day that it holds, nil when none
	stage   string // where files are written before they are moved; empty before open
}

// openFolder looks at dir and refuses one that holds files which no earlier
// run wrote. Nothing is created yet.
func openFolder(dir string) (*folder, error) {
	if dir == "" {
		return nil, &doubt.Problem{What: "no folder to write to was named", Remedy: "give --out DIR"}
	}
	info, err := os.Stat(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		f := &folder{dir: dir}
		return f, f.probe()
	case errors.Is(err, syscall.ENOTDIR):
		return nil, &doubt.Problem{File: dir, What: "part of this path is a file, not a folder", Remedy: "give another folder with --out", Err: err}
	case err != nil:
		return nil, &doubt.Problem{Kind: doubt.System, File: dir, What: "cannot be looked at: " + reason(err), Remedy: "give another folder with --out", Err: err}
	case !info.IsDir():
		return nil, &doubt.Problem{File: dir, What: "this is a file, not a folder", Remedy: "give a new or empty folder with --out"}
	}
	f := &folder{dir: dir, exists: true}
	f.earlier, err = readDay(dir)
	if err != nil {
		return nil, err
	}
	if err := f.refuseStrangers(); err != nil {
		return nil, err
	}
	return f, f.probe()
}

// probe finds out before the long work that the folder cannot be written to.
func (f *folder) probe() error {
	defer f.drop()
	return f.open()
}

// readDay reads the day.json of an earlier run in dir, or returns nil.
func readDay(dir string) (*Day, error) {
	text, err := os.ReadFile(filepath.Join(dir, "data", "day.json"))
	if err != nil {
		return nil, nil //nolint:nilerr // no readable day.json: then every file in the folder is a stranger's
	}
	var day Day
	if err := json.Unmarshal(text, &day); err != nil || day.Schema != SchemaDay {
		return nil, &doubt.Problem{
			File: filepath.Join(dir, "data", "day.json"), What: "this is not a day that this version wrote",
			Remedy: "give a new or empty folder with --out", Err: err,
		}
	}
	return &day, nil
}

// refuseStrangers returns a Problem when the folder holds a file that the
// earlier day does not list.
func (f *folder) refuseStrangers() error {
	ours := map[string]bool{}
	if f.earlier != nil {
		for _, name := range f.earlier.Outputs {
			ours[name] = true
		}
	}
	return filepath.WalkDir(f.dir, func(path string, entry fs.DirEntry, err error) error {
		if err != nil {
			return &doubt.Problem{Kind: doubt.System, File: path, What: "cannot be looked at: " + reason(err), Err: err}
		}
		name, _ := filepath.Rel(f.dir, path)
		if entry.IsDir() || ours[filepath.ToSlash(name)] {
			return nil
		}
		return &doubt.Problem{
			File: f.dir, What: fmt.Sprintf("the folder holds %q, which bittern did not write", filepath.ToSlash(name)),
			Remedy: "give a new or empty folder with --out",
		}
	})
}

// open makes the stage: inside the folder when it exists (it may be a file
// system of its own), else in its nearest existing ancestor.
func (f *folder) open() error {
	parent := f.dir
	for !isFolder(parent) {
		parent = filepath.Dir(parent)
	}
	stage, err := os.MkdirTemp(parent, stagePrefix+"*")
	if err != nil {
		return writeProblem(f.dir, err)
	}
	f.stage = stage
	return nil
}

// drop removes what was written so far.
func (f *folder) drop() {
	if f.stage != "" {
		_ = os.RemoveAll(f.stage) // a left-over is harmless, and there is nobody to tell
		f.stage = ""
	}
}

// files lists what the stage holds, slash-separated and sorted.
func (f *folder) files() ([]string, error) {
	var names []string
	err := filepath.WalkDir(f.stage, func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		name, err := filepath.Rel(f.stage, path)
		names = append(names, filepath.ToSlash(name))
		return err
	})
	slices.Sort(names)
	return names, err
}

// commit moves the stage into place.
func (f *folder) commit() error {
	if !f.exists {
		return f.commitNew()
	}
	old := filepath.Join(f.dir, stagePrefix+"old")
	if err := os.Mkdir(old, 0o755); err != nil {
		return writeProblem(f.dir, err)
	}
	var moves [][2]string // from, to: undone from the end when one fails
	for _, step := range []struct{ from, to string }{{f.dir, old}, {f.stage, f.dir}} {
		entries, err := os.ReadDir(step.from)
		if err != nil {
			return writeProblem(f.dir, errors.Join(err, undo(moves), os.Remove(old)))
		}
		for _, e := range entries {
			if strings.HasPrefix(e.Name(), stagePrefix) {
				continue
			}
			move := [2]string{filepath.Join(step.from, e.Name()), filepath.Join(step.to, e.Name())}
			if err := os.Rename(move[0], move[1]); err != nil {
				return writeProblem(f.dir, errors.Join(err, undo(moves), os.Remove(old)))
			}
			moves = append(moves, move)
		}
	}
	f.drop()
	return os.RemoveAll(old)
}

// commitNew gives the stage its final name.
func (f *folder) commitNew() error {
	made, err := makeParents(filepath.Dir(filepath.Clean(f.dir)))
	if err == nil {
		err = errors.Join(os.Chmod(f.stage, 0o755), os.Rename(f.stage, f.dir))
	}
	if err != nil {
		for _, dir := range slices.Backward(made) {
			_ = os.Remove(dir) // only when still empty
		}
		return writeProblem(f.dir, err)
	}
	f.stage = ""
	return nil
}

// makeParents is os.MkdirAll that tells which folders it made, outermost first.
func makeParents(dir string) ([]string, error) {
	var missing []string
	for !isFolder(dir) {
		missing = append(missing, dir)
		dir = filepath.Dir(dir)
	}
	var made []string
	for _, d := range slices.Backward(missing) {
		if err := os.Mkdir(d, 0o755); err != nil {
			return made, err
		}
		made = append(made, d)
	}
	return made, nil
}

func undo(moves [][2]string) error {
	var err error
	for _, m := range slices.Backward(moves) {
		err = errors.Join(err, os.Rename(m[1], m[0]))
	}
	return err
}

func isFolder(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.IsDir()
}

// writeProblem says why dir could not be written to.
func writeProblem(dir string, err error) error {
	if errors.Is(err, context.Canceled) {
		return err
	}
	p := &doubt.Problem{Kind: doubt.System, File: dir, What: "cannot be written to: " + reason(err), Remedy: "give another folder with --out", Err: err}
	if errors.Is(err, syscall.ENOSPC) {
		p.What, p.Remedy = "the disk is full; nothing was written", "free some room or give a folder on another disk with --out"
	}
	return p
}

// reason is the innermost text of an operating system's refusal.
func reason(err error) string {
	var path *fs.PathError
	var link *os.LinkError
	switch {
	case errors.As(err, &path):
		return path.Err.Error()
	case errors.As(err, &link):
		return link.Err.Error()
	}
	return err.Error()
}
