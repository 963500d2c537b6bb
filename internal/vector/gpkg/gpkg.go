// Package gpkg reads and writes OGC GeoPackages (OGC 12-128r17, version 1.3).
// It is the only place that holds their SQL. Positions that it writes are
// longitude and latitude on WGS84.
package gpkg

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"strings"

	// The driver of database/sql that needs no C.
	_ "modernc.org/sqlite"

	"bittern/internal/geo"
)

// A Kind is the kind of geometry of a layer.
type Kind string

// The kinds, by their names in the standard.
const (
	Polygons Kind = "MULTIPOLYGON"
	Lines    Kind = "MULTILINESTRING"
	Points   Kind = "MULTIPOINT"
)

// A Layer is one table of features.
type Layer struct {
	Name        string // of the table: letters, digits and underscores
	Description string
	Kind        Kind
	Columns     []Column
	Rows        []Row
	SLD         string // OGC Styled Layer Descriptor 1.0; may be empty
	QML         string // the same for desktop programs that read no SLD from the file; may be empty
}

// A Column is one named value of every feature.
type Column struct {
	Name string
	Type string // TEXT, INTEGER, REAL or BOOLEAN
}

// A Row is one feature. Only the geometry of the layer's kind is used; none is
// allowed. Values are as many as columns.
type Row struct {
	Polygons geo.MultiPolygon
	Lines    []geo.Line
	Points   []geo.Point
	Values   []any // nil, string, int, float64 or bool
}

// lastChange stands where the standard wants the time of the last change: an
// output does not depend on the clock.
const lastChange = "1980-01-01T00:00:00.000Z"

// ErrName is returned for a table or column name that is not plain.
var ErrName = errors.New("name is not made of letters, digits and underscores")

// Write writes a GeoPackage with the layers in their order. The same layers give
// the same bytes.
func Write(ctx context.Context, w io.Writer, layers []Layer) error {
	db, err := sql.Open("sqlite", ":memory:")
	if err != nil {
		return fmt.Errorf("opening a database in memory: %w", err)
	}
	defer db.Close()
	conn, err := db.Conn(ctx) // one connection is one database
	if err != nil {
		return fmt.Errorf("opening a database in memory: %w", err)
	}
	defer conn.Close()
	if err := fill(ctx, conn, layers); err != nil {
		return err
	}
	var data []byte
	err = conn.Raw(func(driver any) error {
		s, ok := driver.(interface{ Serialize() ([]byte, error) })
		if !ok {
			return errors.New("the database cannot be serialised")
		}
		data, err = s.Serialize()
		return err
	})
	if err != nil {
		return fmt.Errorf("serialising the database: %w", err)
	}
	_, err = w.Write(data)
	return err
}

// schema is the part of the standard that every file has. The application id
// spells GPKG, the version is 1.3.0.
const schema = `
PRAGMA page_size = 4096;
PRAGMA application_id = 1196444487;
PRAGMA user_version = 10300;
CREATE TABLE gpkg_spatial_ref_sys (
  srs_name TEXT NOT NULL, srs_id INTEGER PRIMARY KEY, organization TEXT NOT NULL,
  organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT);
INSERT INTO gpkg_spatial_ref_sys VALUES
  ('Undefined Cartesian SRS', -1, 'NONE', -1, 'undefined', 'undefined Cartesian coordinate reference system'),
  ('Undefined geographic SRS', 0, 'NONE', 0, 'undefined', 'undefined geographic coordinate reference system'),
  ('WGS 84 geodetic', 4326, 'EPSG', 4326, 'GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563,AUTHORITY["EPSG","7030"]],AUTHORITY["EPSG","6326"]],PRIMEM["Greenwich",0,AUTHORITY["EPSG","8901"]],UNIT["degree",0.0174532925199433,AUTHORITY["EPSG","9122"]],AUTHORITY["EPSG","4326"]]', 'longitude and latitude in degrees');
CREATE TABLE gpkg_contents (
  table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL, identifier TEXT UNIQUE, description TEXT DEFAULT '',
  last_change DATETIME NOT NULL, min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER,
  CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id));
CREATE TABLE gpkg_geometry_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, geometry_type_name TEXT NOT NULL, srs_id INTEGER NOT NULL,
  z TINYINT NOT NULL, m TINYINT NOT NULL,
  CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name), CONSTRAINT uk_gc_table_name UNIQUE (table_name),
  CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name),
  CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id));
CREATE TABLE layer_styles (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT, f_table_schema TEXT, f_table_name TEXT, f_geometry_column TEXT,
  styleName TEXT, styleQML TEXT, styleSLD TEXT, useAsDefault BOOLEAN, description TEXT, owner TEXT, ui TEXT, update_time DATETIME);
INSERT INTO gpkg_contents (table_name, data_type, identifier, last_change) VALUES ('layer_styles', 'attributes', 'layer_styles', '` + lastChange + `');
`

func fill(ctx context.Context, conn *sql.Conn, layers []Layer) error {
	if _, err := conn.ExecContext(ctx, schema); err != nil {
		return fmt.Errorf("laying out the tables: %w", err)
	}
	tx, err := conn.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() //nolint:errcheck // after Commit it does nothing
	for _, l := range layers {
		if err := l.insert(ctx, tx); err != nil {
			return fmt.Errorf("layer %s: %w", l.Name, err)
		}
	}
	return tx.Commit()
}

func plain(name string) error {
	for _, c := range name {
		if c != '_' && (c < '0' || c > '9') && (c < 'a' || c > 'z') && (c < 'A' || c > 'Z') {
			return fmt.Errorf("%q: %w", name, ErrName)
		}
	}
	if name == "" || strings.EqualFold(name, "fid") || strings.EqualFold(name, "geom") {
		return fmt.Errorf("%q is taken: %w", name, ErrName)
	}
	return nil
}

func (l *Layer) insert(ctx context.Context, tx *sql.Tx) error {
	if err := plain(l.Name); err != nil {
		return err
	}
	columns, marks := "", "?, ?"
	for _, c := range l.Columns {
		if err := errors.Join(plain(c.Name), plain(c.Type)); err != nil {
			return err
		}
		columns += fmt.Sprintf(", %q %s", c.Name, c.Type)
		marks += ", ?"
	}
	create := fmt.Sprintf(`CREATE TABLE %q (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, geom %s%s)`, l.Name, l.Kind, columns)
	if _, err := tx.ExecContext(ctx, create); err != nil {
		return err
	}
	box := geo.EmptyBox()
	for i, r := range l.Rows {
		if len(r.Values) != len(l.Columns) {
			return fmt.Errorf("row %d has %d values for %d columns", i+1, len(r.Values), len(l.Columns))
		}
		blob, own := r.blob(l.Kind)
		if !own.Empty() {
			box = box.Extend(own.Min, own.Max)
		}
		if _, err := tx.ExecContext(ctx, fmt.Sprintf("INSERT INTO %q VALUES (%s)", l.Name, marks), append([]any{i + 1, blob}, r.Values...)...); err != nil {
			return fmt.Errorf("row %d: %w", i+1, err)
		}
	}
	return l.register(ctx, tx, box)
}

// register lists the layer in the tables of contents and of styles.
func (l *Layer) register(ctx context.Context, tx *sql.Tx, box geo.Box) error {
	bounds := []any{nil, nil, nil, nil}
	if !box.Empty() {
		bounds = []any{box.Min.X, box.Min.Y, box.Max.X, box.Max.Y}
	}
	_, err := tx.ExecContext(ctx, "INSERT INTO gpkg_contents VALUES (?, 'features', ?, ?, ?, ?, ?, ?, ?, 4326)",
		append([]any{l.Name, l.Name, l.Description, lastChange}, bounds...)...)
	if err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, "INSERT INTO gpkg_geometry_columns VALUES (?, 'geom', ?, 4326, 0, 0)", l.Name, string(l.Kind)); err != nil {
		return err
	}
	if l.SLD == "" && l.QML == "" {
		return nil
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column,
		styleName, styleQML, styleSLD, useAsDefault, description, owner, update_time) VALUES ('', '', ?, 'geom', ?, ?, ?, 1, '', '', ?)`,
		l.Name, l.Name, l.QML, l.SLD, lastChange)
	return err
}
