package vector

import "bytes"

// readXML tells KML and GPX apart.
func readXML(data []byte) (*Layer, error) {
	head := data[:min(len(data), 4096)]
	kind := "is a kind of XML that is not read"
	switch {
	case bytes.Contains(head, []byte("<kml")):
		kind = "is KML, which is not read yet"
	case bytes.Contains(head, []byte("<gpx")):
		kind = "is GPX, which is not read yet"
	}
	return nil, problem(kind, toGeoJSON, nil)
}
