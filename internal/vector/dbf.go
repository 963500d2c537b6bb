package vector

import (
	"encoding/binary"
	"fmt"
	"strconv"
	"strings"
)

// A dbfRow is one record of the table beside a shapefile.
type dbfRow struct {
	deleted bool
	values  Properties
}

// A dbfField is one column: its name, kind and place in the record.
type dbfField struct {
	name     string
	kind     byte
	at, size int
}

// readDBF reads a dBASE table. An empty one has no rows.
func readDBF(data, cpg []byte) ([]dbfRow, error) {
	if len(data) == 0 {
		return nil, nil
	}
	if len(data) < 32 {
		return nil, errTruncated
	}
	n := int64(binary.LittleEndian.Uint32(data[4:]))
	head, size := int(binary.LittleEndian.Uint16(data[8:])), int(binary.LittleEndian.Uint16(data[10:]))
	if head < 33 || size < 1 || int64(head)+n*int64(size) > int64(len(data))+1 { // some leave the last byte out
		return nil, errTruncated
	}
	decode := decoder(string(cpg), data[29])
	fields, err := dbfFields(data[:head], size, decode)
	if err != nil {
		return nil, err
	}
	rows := make([]dbfRow, 0, n)
	for i := range int(n) {
		record := data[head+i*size:]
		record = record[:min(size, len(record))]
		row := dbfRow{deleted: len(record) > 0 && record[0] == '*'}
		for _, f := range fields {
			raw := record[min(f.at, len(record)):min(f.at+f.size, len(record))]
			row.values = append(row.values, Property{f.name, f.value(raw, decode)})
		}
		rows = append(rows, row)
	}
	return rows, nil
}

func dbfFields(head []byte, size int, decode func([]byte) string) ([]dbfField, error) {
	var out []dbfField
	at := 1
	for rest := head[32:]; len(rest) >= 32 && rest[0] != '\r'; rest = rest[32:] {
		name := rest[:11]
		if end := strings.IndexByte(string(name), 0); end >= 0 {
			name = name[:end]
		}
		f := dbfField{name: strings.TrimSpace(decode(name)), kind: rest[11], at: at, size: int(rest[16])}
		if f.kind == 'C' {
			f.size += int(rest[17]) << 8 // long texts keep the high byte there
		}
		if at += f.size; at > size {
			return nil, fmt.Errorf("%w (column %s)", errTruncated, f.name)
		}
		out = append(out, f)
	}
	return out, nil
}

func (f dbfField) value(raw []byte, decode func([]byte) string) any {
	text := strings.TrimSpace(strings.TrimRight(decode(raw), "\x00"))
	switch f.kind {
	case 'N', 'F':
		v, err := strconv.ParseFloat(text, 64)
		if err != nil {
			return nil // blank or stars: no value
		}
		return v
	case 'L':
		switch strings.ToUpper(text) {
		case "T", "Y":
			return true
		case "F", "N":
			return false
		}
		return nil
	case 'D':
		if text == "00000000" {
			return nil
		}
		if len(text) == 8 {
			return text[:4] + "-" + text[4:6] + "-" + text[6:]
		}
	case 'I':
		if len(raw) == 4 {
			return float64(int32(binary.LittleEndian.Uint32(raw)))
		}
	}
	if text == "" {
		return nil
	}
	return text
}
