package cli

//go:generate go run ../tools/clidoc ../../docs/cli.md

import (
	"fmt"
	"io"
	"strings"

	"github.com/alecthomas/kong"
)

// Reference is the command line as docs/cli.md prints it, made from what
// --help knows.
func Reference() (string, error) {
	var tree commands
	parser, err := newParser(&tree, io.Discard, func(int) {})
	if err != nil {
		return "", err
	}
	var b strings.Builder
	b.WriteString("# The command line\n\nMade from the program by `make generate`; do not edit.\n\n")
	b.WriteString("Exit status: 0 done, doubts included; 2 the command line or an input is wrong; 3 a sound picture that cannot answer the\n")
	b.WriteString("question; 1 anything else. On 1 to 3 one sentence stands on standard error and nothing was written.\n")
	for _, n := range parser.Model.Leaves(true) {
		describeCommandIn(&b, n)
	}
	return b.String(), nil
}

func describeCommandIn(b *strings.Builder, n *kong.Node) {
	fmt.Fprintf(b, "\n## bittern %s", n.Name)
	for _, p := range n.Positional {
		fmt.Fprintf(b, " %s", strings.ToUpper(p.Name))
	}
	fmt.Fprintf(b, "\n\n%s\n", n.Help)
	var rows strings.Builder
	for _, p := range n.Positional {
		fmt.Fprintf(&rows, "| `%s` | %s |\n", strings.ToUpper(p.Name), p.Help)
	}
	for _, f := range n.Flags {
		name := "--" + f.Name
		if !f.IsBool() {
			name += " " + f.FormatPlaceHolder()
		}
		help := f.Help
		if f.Required {
			help += " Required."
		}
		fmt.Fprintf(&rows, "| `%s` | %s |\n", name, help)
	}
	if rows.Len() > 0 {
		fmt.Fprintf(b, "\n| option | meaning |\n| --- | --- |\n%s", rows.String())
	}
}
