// Command crstable writes the table of EPSG codes that internal/crs offers, from
// the database that PROJ ships: the EPSG registry.
package main

import (
	"bytes"
	"database/sql"
	"flag"
	"fmt"
	"go/format"
	"io"
	"os"

	_ "modernc.org/sqlite" // the driver

	"bittern/internal/atomicfile"
)

func main() {
	db := flag.String("db", "/usr/share/proj/proj.db", "PROJ's database")
	flag.Parse()
	if flag.NArg() != 1 {
		fmt.Fprintln(os.Stderr, "usage: crstable [-db proj.db] FILE")
		os.Exit(2)
	}
	if err := run(*db, flag.Arg(0)); err != nil {
		fmt.Fprintln(os.Stderr, "crstable:", err)
		os.Exit(1)
	}
}

func run(database, out string) error {
	if _, err := os.Stat(database); err != nil {
		return fmt.Errorf("PROJ's database (Debian: proj-data): %w", err)
	}
	db, err := sql.Open("sqlite", "file:"+database+"?mode=ro&immutable=1")
	if err != nil {
		return err
	}
	defer db.Close()
	t, err := readTable(db)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	t.write(&b)
	text, err := format.Source(b.Bytes())
	if err != nil {
		return err
	}
	return atomicfile.Write(out, func(w io.Writer) error {
		_, err := w.Write(text)
		return err
	})
}
