// Package cli is the command line: it reads options, calls the application and
// prints what comes back. It decides nothing.
package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"strconv"
	"strings"
	"time"

	"github.com/alecthomas/kong"

	"bittern/internal/app"
	"bittern/internal/doubt"
)

// Version is the program's version, as in CHANGELOG.md.
const Version = "0.1.0"

// Env is everything that a command may touch of the outside world, beside the
// files that it is told to read and write.
type Env struct {
	Args           []string // without the program's name
	Stdout, Stderr io.Writer
	Getenv         func(string) string
}

// Main runs one command and returns the exit status: 0 done, 2 the command line
// or an input is wrong, 3 a sound picture that cannot answer, 1 anything else.
// On 1 to 3 one sentence goes to Stderr and nothing to Stdout.
func Main(ctx context.Context, env Env) int {
	out, err := dispatch(ctx, env)
	if err == nil {
		_, err = env.Stdout.Write(out)
	}
	if err != nil {
		fmt.Fprintln(env.Stderr, "bittern: "+app.Sentence(err))
	}
	return exitCode(err)
}

// exitCode turns what stopped a command into the process's exit status.
func exitCode(err error) int {
	if err == nil {
		return 0
	}
	var p *doubt.Problem
	if !errors.As(err, &p) {
		return 1
	}
	switch p.Kind {
	case doubt.Input:
		return 2
	case doubt.Unfit:
		return 3
	default:
		return 1
	}
}

// commands is the whole command line. Its tags are printed by --help and in
// docs/cli.md.
type commands struct {
	Run      runCommand      `cmd:"" help:"From a boundary and pictures to the sheets and files of a day."`
	Demo     demoCommand     `cmd:"" help:"Invent a field and its flight, and run the job on it."`
	Describe describeCommand `cmd:"" help:"Say what a picture or a file of outlines is, and what is wrong with it."`
	Serve    serveCommand    `cmd:"" help:"Open the day page on a folder of days."`
	Blank    blankCommand    `cmd:"" help:"Print an empty typed file with comments, to be filled in."`
	Version  versionCommand  `cmd:"" help:"Print the version."`
}

// command is what every command's struct can do: its standard output, or what
// stopped it.
type command interface {
	run(ctx context.Context, env Env) ([]byte, error)
}

// stopped carries the exit that kong asks for out of its callbacks.
type stopped struct{ help strings.Builder }

// dispatch runs one command. A defect of ours becomes a sentence too: what was
// being written is dropped on the way up.
func dispatch(ctx context.Context, env Env) (out []byte, err error) {
	defer func() {
		if defect := recover(); defect != nil {
			out, err = nil, &doubt.Problem{
				Kind: doubt.System, What: fmt.Sprintf("a defect of the program stopped it (%v); nothing was written", defect),
				Remedy: "report it with the command that you typed",
			}
		}
	}()
	var tree commands
	var end stopped
	exited := false
	parser, err := newParser(&tree, &end.help, func(int) { exited = true })
	if err != nil {
		return nil, err
	}
	args := env.Args
	if len(args) == 0 { // a double-click
		args = []string{"serve"}
	}
	if twice := repeated(args); twice != "" {
		return nil, &doubt.Problem{What: twice + " is given twice", Remedy: "give it once"}
	}
	parsed, err := parser.Parse(args)
	if exited {
		return []byte(end.help.String()), nil
	}
	if err != nil {
		return nil, &doubt.Problem{What: plainUsage(err), Remedy: "see bittern --help", Err: err}
	}
	cmd, ok := parsed.Selected().Target.Addr().Interface().(command)
	if !ok {
		return nil, fmt.Errorf("no such command: %s", parsed.Command())
	}
	return cmd.run(ctx, env)
}

// repeated is an option that stands twice among args and may not.
func repeated(args []string) string {
	seen := map[string]bool{}
	for _, arg := range args {
		name, _, _ := strings.Cut(arg, "=")
		if !strings.HasPrefix(name, "--") || name == "--imagery" || name == "--applicator" {
			continue
		}
		if seen[name] {
			return name
		}
		seen[name] = true
	}
	return ""
}

func newParser(tree *commands, out io.Writer, exit func(int)) (*kong.Kong, error) {
	return kong.New(tree,
		kong.Name("bittern"),
		kong.Description("From a drone's picture of a field to a spray decision."),
		kong.Writers(out, out),
		kong.Exit(exit),
		kong.ConfigureHelp(kong.HelpOptions{NoExpandSubcommands: true}),
	)
}

// plainUsage is kong's text for a wrong command line, in plain words where its
// own are not.
func plainUsage(err error) string {
	text := strings.TrimSuffix(err.Error(), ".")
	option, rest, expected := strings.Cut(text, ": expected ")
	switch {
	case expected && strings.Contains(rest, `but got "EOL"`):
		return option + " needs a value after it"
	case expected && strings.Contains(rest, "float"):
		return option + " needs a number that is not below 0"
	}
	return text
}

// printed is the date that may be printed on paper: SOURCE_DATE_EPOCH, or none.
func printed(env Env) (*time.Time, error) {
	text := env.Getenv("SOURCE_DATE_EPOCH")
	if text == "" {
		return nil, nil
	}
	seconds, err := strconv.ParseInt(text, 10, 64)
	if err != nil {
		return nil, &doubt.Problem{What: fmt.Sprintf("SOURCE_DATE_EPOCH is %q, which is not a number of seconds", text), Remedy: "unset it or correct it", Err: err}
	}
	t := time.Unix(seconds, 0).UTC()
	return &t, nil
}

type versionCommand struct{}

func (versionCommand) run(context.Context, Env) ([]byte, error) { //nolint:unparam // one shape for all commands
	return []byte("bittern " + Version + "\n"), nil
}

type blankCommand struct {
	Name string `arg:"" help:"One of prices, applicator, products, sightings."`
}

func (c blankCommand) run(context.Context, Env) ([]byte, error) {
	return app.Blank(c.Name)
}

type describeCommand struct {
	File  string `arg:"" help:"A picture, or a file of outlines." sep:"none"`
	Bands string `help:"Which band is which, from the first: green,red,rededge,nir."`
	Index string `placeholder:"NAME" help:"Write the picture of an index: ndvi, ndre, exg and others."`
	Out   string `placeholder:"FILE.tif" help:"Where to write it; its numbers go beside it, to FILE.values.tif."`
	JSON  bool   `name:"json" help:"Print for programs."`
}

func (c describeCommand) run(ctx context.Context, env Env) ([]byte, error) {
	d, err := c.describe(ctx, env)
	if err != nil {
		return nil, err
	}
	if c.JSON {
		return app.JSON(d)
	}
	return []byte(d.Letter()), nil
}

func (c describeCommand) describe(ctx context.Context, env Env) (app.Told, error) {
	switch {
	case c.Index == "" && c.Out != "":
		return nil, &doubt.Problem{What: "--out is given without --index", Remedy: "say which index to write, for example --index ndvi"}
	case c.Index == "":
		return app.DescribeFile(ctx, c.File, splitBands(c.Bands))
	}
	bar := newProgress(env.Stderr)
	defer bar.stop()
	d, err := app.DescribeIndex(ctx, c.File, splitBands(c.Bands),
		app.IndexRequest{Name: c.Index, Out: c.Out, Program: "bittern " + Version},
		app.Setting{Workers: runtime.GOMAXPROCS(0), Progress: bar.Report})
	if err != nil {
		return nil, err
	}
	return d, nil
}

func splitBands(text string) []string {
	if text == "" {
		return nil
	}
	names := strings.Split(text, ",")
	for i := range names {
		names[i] = strings.TrimSpace(names[i])
	}
	return names
}

// isTerminal tells whether w is a terminal, without asking it anything.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}
