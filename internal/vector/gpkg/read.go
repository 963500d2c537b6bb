package gpkg

import (
	"context"
	"database/sql"
	"fmt"
	"net/url"
	"path/filepath"
	"strings"
	"time"
)

// A Table is one layer of features as it was read. Positions are in the CRS that
// Organization and Code, or else Definition, name; X is east.
type Table struct {
	Name         string
	Organization string // who numbered the CRS: "EPSG"
	Code         int    // its number
	Definition   string // well-known text
	Columns      []string
	Rows         []Row
}

// Read returns the feature tables of the GeoPackage at path, which it does not
// change, in the order of their names.
func Read(ctx context.Context, path string) ([]Table, error) {
	// Immutable: no lock, no journal, nothing written beside the file.
	db, err := sql.Open("sqlite", "file:"+uriPath(path)+"?mode=ro&immutable=1")
	if err != nil {
		return nil, err
	}
	defer db.Close()
	tables, err := contents(ctx, db)
	if err != nil {
		return nil, fmt.Errorf("its table of contents: %w", err)
	}
	var out []Table
	for _, t := range tables {
		if err := t.read(ctx, db); err != nil {
			return nil, fmt.Errorf("its layer %s: %w", t.Name, err)
		}
		out = append(out, t.Table)
	}
	return out, nil
}

// uriPath is path as a file URI holds it: slashes, odd characters escaped, and a
// slash before a drive's letter.
func uriPath(path string) string {
	slashed := filepath.ToSlash(path)
	if filepath.VolumeName(path) != "" {
		slashed = "/" + slashed
	}
	return (&url.URL{Path: slashed}).EscapedPath()
}

// maxRows bounds the features of one table: a view may make any number.
const maxRows = 1000000

// A listed table is one whose rows are still to be read.
type listed struct {
	Table
	geometry string // name of the geometry column
}

func contents(ctx context.Context, db *sql.DB) ([]listed, error) {
	rows, err := db.QueryContext(ctx, `SELECT g.table_name, g.column_name, COALESCE(s.organization, ''), COALESCE(s.organization_coordsys_id, 0), COALESCE(s.definition, '')
		FROM gpkg_geometry_columns g LEFT JOIN gpkg_spatial_ref_sys s ON s.srs_id = g.srs_id ORDER BY g.table_name`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []listed
	for rows.Next() {
		var t listed
		if err := rows.Scan(&t.Name, &t.geometry, &t.Organization, &t.Code, &t.Definition); err != nil {
			return nil, err
		}
		out = append(out, t)
	}
	return out, rows.Err()
}

func quoted(name string) string { return `"` + strings.ReplaceAll(name, `"`, `""`) + `"` }

func (t *listed) read(ctx context.Context, db *sql.DB) error {
	rows, err := db.QueryContext(ctx, "SELECT * FROM "+quoted(t.Name))
	if err != nil {
		return err
	}
	defer rows.Close()
	names, err := rows.Columns()
	if err != nil {
		return err
	}
	for _, n := range names {
		if n != t.geometry {
			t.Columns = append(t.Columns, n)
		}
	}
	for rows.Next() {
		values := make([]any, len(names))
		into := make([]any, len(names))
		for i := range values {
			into[i] = &values[i]
		}
		if err := rows.Scan(into...); err != nil {
			return err
		}
		var r Row
		for i, v := range values {
			if names[i] == t.geometry {
				blob, _ := v.([]byte) // anything else is no geometry
				if err := r.parse(blob); err != nil {
					return fmt.Errorf("row %d: %w", len(t.Rows)+1, err)
				}
				continue
			}
			r.Values = append(r.Values, plainValue(v))
		}
		if t.Rows = append(t.Rows, r); len(t.Rows) > maxRows {
			return fmt.Errorf("more than %d features", maxRows)
		}
	}
	return rows.Err()
}

// plainValue turns what the driver returns into what a property may hold.
func plainValue(v any) any {
	switch v := v.(type) {
	case int64:
		return float64(v)
	case []byte:
		return nil
	case nil, string, float64, bool:
		return v
	case time.Time: // a column of type DATE or DATETIME
		if v.Equal(v.Truncate(24 * time.Hour)) {
			return v.Format(time.DateOnly)
		}
		return v.Format(time.RFC3339)
	}
	return nil
}
