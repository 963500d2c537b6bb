// Command clidoc writes the reference of the command line to a file.
package main

import (
	"fmt"
	"io"
	"os"

	"bittern/internal/atomicfile"
	"bittern/internal/cli"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: clidoc FILE")
		os.Exit(2)
	}
	text, err := cli.Reference()
	if err == nil {
		err = atomicfile.Write(os.Args[1], func(w io.Writer) error {
			_, err := io.WriteString(w, text)
			return err
		})
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "clidoc:", err)
		os.Exit(1)
	}
}
