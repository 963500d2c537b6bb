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
func WriteSeeker(path string, fill func(io.WriteSeeker) error) (err error) {
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
