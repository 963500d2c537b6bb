package cli

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"time"

	"bittern/internal/app"
	"bittern/internal/doubt"
	"bittern/internal/web"
)

// serveCommand is `bittern serve`: the day page of a folder of days.
type serveCommand struct {
	Folder string `arg:"" optional:"" help:"The folder of days; made when it is not there. Without one, a folder in your documents."`
	Port   int    `default:"0" placeholder:"N" help:"The port to listen on, on this computer only; 0 takes a free one."`
	NoOpen bool   `help:"Do not open the page in the browser."`
}

func (c serveCommand) run(ctx context.Context, env Env) ([]byte, error) {
	if c.Port < 0 || c.Port > 65535 {
		return nil, &doubt.Problem{What: fmt.Sprintf("--port %d is no port", c.Port), Remedy: "give a number from 1 to 65535, or leave it out"}
	}
	folder := c.Folder
	if folder == "" {
		home, err := os.UserHomeDir()
		if err != nil {
			return nil, &doubt.Problem{What: "your documents could not be found", Remedy: "give a folder: bittern serve FOLDER", Err: err}
		}
		folder = filepath.Join(home, "Documents", "bittern")
	}
	days, err := app.OpenDays(folder, "bittern "+Version, app.Setting{Workers: runtime.GOMAXPROCS(0), Meter: meter}, time.Now)
	if err != nil {
		return nil, err
	}
	defer days.Close()
	var failed error
	err = web.Serve(ctx, days, c.Port, func(address string) {
		_, failed = fmt.Fprintf(env.Stdout, "The day page of %s is at\n%s\nKeep this window open while you use it.\n", folder, address)
		if !c.NoOpen {
			openBrowser(ctx, address)
		}
	})
	if err != nil {
		return nil, err
	}
	return nil, failed
}

// openBrowser asks the system to show an address. That it cannot is no error:
// the address was printed.
func openBrowser(ctx context.Context, address string) {
	var cmd *exec.Cmd
	switch runtime.GOOS {
	case "windows":
		cmd = exec.CommandContext(ctx, "rundll32", "url.dll,FileProtocolHandler", address)
	case "darwin":
		cmd = exec.CommandContext(ctx, "open", address)
	default:
		cmd = exec.CommandContext(ctx, "xdg-open", address)
	}
	if cmd.Start() == nil {
		go func() { _ = cmd.Wait() }()
	}
}
