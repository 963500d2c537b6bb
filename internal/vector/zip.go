package vector

import (
	"archive/zip"
	"bytes"
	"fmt"
	"path"
	"strings"
)

// maxEntries bounds the files that a zip may hold.
const maxEntries = 10000

// readZip reads the one vector file in a zip: a shapefile in whatever folder,
// GeoJSON, or the KML of a KMZ.
func readZip(data []byte) (*Layer, error) {
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, problem("is a damaged zip", "copy it again", err)
	}
	if len(z.File) > maxEntries {
		return nil, problem(fmt.Sprintf("is a zip of %d files", len(z.File)), "zip the parts of one shapefile alone", nil)
	}
	found := vectorEntries(z)
	switch {
	case len(found) == 0:
		return nil, problem("is a zip without a shapefile, KML or GeoJSON in it", "zip the .shp with its .shx, .dbf and .prj", nil)
	case len(found) > 1:
		if l, err := readKMLs(found); l != nil || err != nil {
			return l, err
		}
		var names []string
		for _, f := range found {
			names = append(names, f.Name)
		}
		return nil, problem("is a zip of several layers: "+list(names), "unzip it and name one of them", nil)
	}
	main := found[0]
	content, err := unzip(main)
	if err != nil {
		return nil, err
	}
	if !hasEnding(main.Name, ".shp") {
		if bytes.HasPrefix(content, []byte("PK")) {
			return nil, problem("is a zip in a zip", "unzip it and name the file in it", nil)
		}
		return read(main.Name, content)
	}
	parts := shapeParts{shp: content}
	stem := strings.TrimSuffix(main.Name, path.Ext(main.Name))
	for _, f := range z.File {
		ext := path.Ext(f.Name)
		into := parts.named(ext)
		if into == nil || !strings.EqualFold(strings.TrimSuffix(f.Name, ext), stem) {
			continue
		}
		if *into, err = unzip(f); err != nil {
			return nil, err
		}
	}
	return parts.read()
}

// readKMLs reads the one KML with places in it among several: programs put each
// layer into a file of its own, beside one that only links to it. It returns nil
// where not all are KML or not just one has places.
func readKMLs(found []*zip.File) (*Layer, error) {
	const most = 20
	var only *Layer
	for _, f := range found {
		if !hasEnding(f.Name, ".kml") || len(found) > most {
			return nil, nil
		}
		content, err := unzip(f)
		if err != nil {
			return nil, err
		}
		l, err := readXML(content)
		switch {
		case err != nil:
			return nil, err
		case len(l.Features) == 0:
			continue
		case only != nil:
			return nil, nil
		}
		only = l
	}
	return only, nil
}

func vectorEntries(z *zip.Reader) []*zip.File {
	var found []*zip.File
	for _, f := range z.File {
		base := path.Base(f.Name)
		if strings.HasPrefix(base, ".") || strings.Contains(f.Name, "__MACOSX") {
			continue // what a Mac adds
		}
		if hasEnding(base, ".shp") || hasEnding(base, ".kml") || hasEnding(base, ".geojson") || hasEnding(base, ".json") {
			found = append(found, f)
		}
	}
	return found
}

func hasEnding(name, ext string) bool { return strings.EqualFold(path.Ext(name), ext) }

// unzip unpacks one entry; what it claims to unpack to is not believed.
func unzip(f *zip.File) ([]byte, error) {
	r, err := f.Open()
	if err != nil {
		return nil, problem("is a zip that cannot be unpacked ("+err.Error()+")", "zip it again without a password", err)
	}
	defer r.Close()
	data, err := readAllFrom(r)
	if err != nil {
		return nil, problem("is a zip whose "+path.Base(f.Name)+" cannot be unpacked ("+err.Error()+")", "zip it again", err)
	}
	return data, nil
}
