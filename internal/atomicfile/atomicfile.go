// Package atomicfile writes files that are whole or absent.
package atomicfile

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// Write creates or replaces the file at path with what fill writes. If fill or
// the disk fails, the old file (or none) is still there and nothing else is
// left behind.
func Write(path string, fill func(io.Writer) error) error {
	return WriteSeeker(path, func(f io.WriteSeeker) error { return fill(f) })
}

// WriteSeeker is Write for formats whose header is written last.
func WriteSeeker(path string, fill func(io.WriteSeeker) error) error {
	return WriteFile(path, func(f *os.File) error { return fill(f) })
}

// WriteFile is Write for what reads again what it wrote.
func WriteFile(path string, fill func(*os.File) error) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), ".tmp-*")
	if err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(fmt.Errorf("writing %s: %w", path, err), os.Remove(f.Name()))
		}
	}()
	if err := errors.Join(fill(f), f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Chmod(f.Name(), 0o644); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}

// Scratch calls use with a file in folder that is gone afterwards.
func Scratch(folder string, use func(*os.File) error) (err error) {
	f, err := os.CreateTemp(folder, ".tmp-*")
	if err != nil {
		return fmt.Errorf("writing into %s: %w", folder, err)
	}
	defer func() { err = errors.Join(err, f.Close(), os.Remove(f.Name())) }()
	return use(f)
}
