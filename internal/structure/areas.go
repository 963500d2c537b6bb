package structure

// findAreas finds water, roads, trees and shade.
func (f *finder) findAreas() error {
	f.areas = make([]Reason, len(f.ok))
	return nil
}
