package structure

// findTracks finds wheel tracks: straight lines a cell wide at one heading.
func (f *finder) findTracks() error {
	f.tracks = make([]bool, len(f.ok))
	return nil
}
