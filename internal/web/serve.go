package web

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"bittern/internal/app"
	"bittern/internal/atomicfile"
)

// addressName is the file in a folder of days that says where its page is, while
// it is served.
const addressName = ".bittern-page"

// Serve shows the page of a folder of days on this computer until ctx ends. It
// calls ready once, with the page's address, when requests are answered. When the
// folder's page is served already, it calls ready with that address and returns.
func Serve(ctx context.Context, days *app.Days, port int, ready func(address string)) error {
	note := filepath.Join(days.Root(), addressName)
	if address := alive(ctx, note); address != "" {
		ready(address)
		return nil
	}
	ln, err := new(net.ListenConfig).Listen(ctx, "tcp", fmt.Sprintf("127.0.0.1:%d", port))
	if err != nil {
		return fmt.Errorf("opening a local port: %w", err)
	}
	token := rand.Text()
	handler, err := Handler(days, token)
	if err != nil {
		return errors.Join(err, ln.Close())
	}
	srv := &http.Server{Handler: handler, ReadHeaderTimeout: 5 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 64 << 10}
	stop := context.AfterFunc(ctx, func() { _ = srv.Close() })
	defer stop()
	address := fmt.Sprintf("http://%s/%s/", ln.Addr(), token)
	// Only the owner may read it: whoever has the address has the page.
	err = atomicfile.Write(note, func(w io.Writer) error {
		_, err := io.WriteString(w, address+"\n")
		return err
	})
	if err == nil {
		err = os.Chmod(note, 0o600)
	}
	if err != nil {
		return errors.Join(err, ln.Close())
	}
	defer func() { _ = os.Remove(note) }() // one that is left behind does not answer, and is replaced
	ready(address)
	if err := srv.Serve(ln); !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("serving the page: %w", err)
	}
	return nil
}

// alive returns the address that a note holds, when a page answers there.
func alive(ctx context.Context, note string) string {
	text, err := os.ReadFile(note)
	address := strings.TrimSpace(string(text))
	if err != nil || !strings.HasPrefix(address, "http://127.0.0.1:") {
		return ""
	}
	ctx, cancel := context.WithTimeout(ctx, 2*time.Second)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, address, nil)
	if err != nil {
		return ""
	}
	// No proxy: the page is on this computer.
	res, err := (&http.Client{Transport: &http.Transport{}}).Do(req)
	if err != nil {
		return ""
	}
	defer func() { _ = res.Body.Close() }() // nothing was read from it
	if res.StatusCode != http.StatusOK {
		return ""
	}
	return address
}
