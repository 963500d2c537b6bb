// Package web serves the day page to the person at this computer, and to nobody
// else: on the loopback address only, under a path that only they were told, with
// no request to anywhere outside. It is a shell over the application: it turns
// requests into calls and sentences into answers, and decides nothing.
package web

import (
	"context"
	"crypto/subtle"
	"embed"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"mime"
	"net"
	"net/http"
	"net/netip"
	"path"
	"strconv"
	"strings"

	"bittern/internal/app"
	"bittern/internal/doubt"
	"bittern/internal/picture"
)

//go:generate ../../tools/oracles.sh
//go:generate npm --prefix ui run build

// dist is built from ui/ by "go generate" and committed, so that a clone builds
// with Go alone. A test rebuilds it and compares.
//
//go:embed dist
var dist embed.FS

// mostAsked bounds the body of a request that carries no file.
const mostAsked = 4 << 20

// Handler serves the page of a folder of days under /token/, and refuses every
// other path.
func Handler(days *app.Days, token string) (http.Handler, error) {
	assets, err := fs.Sub(dist, "dist")
	if err != nil {
		return nil, err
	}
	s := &server{days: days}
	mux := http.NewServeMux()
	mux.Handle("GET /", fresh(http.FileServerFS(assets)))
	for pattern, do := range map[string]func(*http.Request) (any, error){
		"GET /days":                   s.list,
		"POST /days":                  s.create,
		"POST /invent":                s.invent,
		"GET /days/{id}":              s.page,
		"POST /days/{id}/answer":      s.answer,
		"POST /days/{id}/take":        s.take,
		"POST /days/{id}/path":        s.path,
		"POST /days/{id}/drop":        s.drop,
		"POST /days/{id}/draw":        s.draw,
		"POST /days/{id}/type/{kind}": s.typed,
		"POST /days/{id}/reckon":      s.reckon,
		"POST /days/{id}/run":         s.run,
		"POST /days/{id}/look":        s.look,
		"POST /days/{id}/cancel":      s.cancel,
		"GET /days/{id}/going":        s.going,
		"GET /days/{id}/view":         s.view,
		"GET /days/{id}/shapes":       s.shapes,
		"GET /days/{id}/under":        s.under,
	} {
		mux.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) {
			v, err := do(r)
			reply(w, v, err)
		})
	}
	mux.HandleFunc("GET /days/{id}/tile/{what}/{level}/{col}/{row}", s.tile)
	mux.HandleFunc("GET /days/{id}/crop/{what}/{shape}", s.crop)
	mux.HandleFunc("GET /days/{id}/file/{name...}", s.file)
	guarded := localOnly(http.NewCrossOriginProtection().Handler(secure(under(token, mux))))
	return guarded, nil
}

// under serves h below /token/ and refuses the rest, in the same time however
// much of the token was guessed.
func under(token string, h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		first, rest, slash := strings.Cut(strings.TrimPrefix(r.URL.Path, "/"), "/")
		if subtle.ConstantTimeCompare([]byte(first), []byte(token)) != 1 {
			http.Error(w, "open the page by the address that bittern printed when it started", http.StatusForbidden)
			return
		}
		if !slash {
			rest = ""
		}
		inner := r.Clone(r.Context())
		inner.URL.Path, inner.URL.RawPath = "/"+rest, ""
		h.ServeHTTP(w, inner)
	})
}

// secure forbids everything but our own files: no inline script, no network.
func secure(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		head := w.Header()
		head.Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "+
			"connect-src 'self'; form-action 'none'; base-uri 'none'; frame-ancestors 'none'")
		head.Set("X-Content-Type-Options", "nosniff")
		head.Set("Referrer-Policy", "no-referrer")
		head.Set("Cross-Origin-Resource-Policy", "same-origin")
		head.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.ServeHTTP(w, r)
	})
}

// localOnly refuses requests whose Host is not this computer, which is how a
// page on the internet would reach us through DNS rebinding.
func localOnly(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		host, _, err := net.SplitHostPort(r.Host)
		if err != nil {
			host = r.Host
		}
		if ip, err := netip.ParseAddr(host); host == "localhost" || err == nil && ip.IsLoopback() {
			h.ServeHTTP(w, r)
			return
		}
		http.Error(w, "this page is served to this computer only", http.StatusForbidden)
	})
}

// fresh makes the browser ask for the page's own files again after an update of
// the program.
func fresh(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "no-cache")
		h.ServeHTTP(w, r)
	})
}

// A refusal is what the page shows when something was not done.
type refusal struct {
	Says string `json:"says"` // one sentence
}

func reply(w http.ResponseWriter, v any, err error) {
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	if err != nil {
		w.WriteHeader(status(err))
		v = refusal{Says: app.PageSentence(err)}
	}
	_ = json.NewEncoder(w).Encode(v) // the reader has gone: nobody left to tell
}

// status is 422 for what a person can mend and 500 for the rest.
func status(err error) int {
	var p *doubt.Problem
	if errors.As(err, &p) && p.Kind != doubt.System {
		return http.StatusUnprocessableEntity
	}
	return http.StatusInternalServerError
}

// A server answers requests with what the application says.
type server struct{ days *app.Days }

// asked reads the body of a request; an unknown key is refused.
func asked[T any](r *http.Request) (T, error) {
	var v T
	dec := json.NewDecoder(http.MaxBytesReader(nil, r.Body, mostAsked))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&v); err != nil && !errors.Is(err, io.EOF) {
		return v, &doubt.Problem{What: "what the page sent could not be read", Remedy: "load the page again", Err: err}
	}
	return v, nil
}

type done struct{}

// A newDay names the day that was begun.
type newDay struct {
	ID string `json:"id"`
}

func (s *server) list(*http.Request) (any, error) { return s.days.List() }

func (s *server) create(*http.Request) (any, error) {
	id, err := s.days.New()
	return newDay{id}, err
}

func (s *server) invent(r *http.Request) (any, error) {
	size, err := asked[struct {
		Acres float64 `json:"acres"`
	}](r)
	if err != nil {
		return nil, err
	}
	id, err := s.days.Invent(size.Acres)
	return newDay{id}, err
}

func (s *server) page(r *http.Request) (any, error) {
	return s.days.Page(r.Context(), r.PathValue("id"))
}

// changed is the page of a day after a change to it.
func (s *server) changed(r *http.Request, err error) (any, error) {
	if err != nil {
		return nil, err
	}
	return s.page(r)
}

func (s *server) answer(r *http.Request) (any, error) {
	said, err := asked[app.Answered](r)
	if err == nil {
		err = s.days.Answer(r.PathValue("id"), said)
	}
	return s.changed(r, err)
}

// take streams a dropped file to the disk: its name and role stand in the query.
func (s *server) take(r *http.Request) (any, error) {
	q := r.URL.Query()
	body := io.Reader(r.Body)
	if r.ContentLength >= 0 {
		body = &whole{r: r.Body, left: r.ContentLength}
	}
	return s.changed(r, s.days.TakeFile(r.Context(), r.PathValue("id"), q.Get("role"), q.Get("name"), body))
}

// A whole reader says when less came than was announced.
type whole struct {
	r    io.Reader
	left int64
}

func (w *whole) Read(p []byte) (int, error) {
	n, err := w.r.Read(p)
	w.left -= int64(n)
	if err == io.EOF && w.left > 0 {
		err = io.ErrUnexpectedEOF
	}
	return n, err
}

func (s *server) path(r *http.Request) (any, error) {
	said, err := asked[struct {
		Role string `json:"role"`
		Path string `json:"path"`
	}](r)
	if err == nil {
		err = s.days.TakePath(r.Context(), r.PathValue("id"), said.Role, said.Path)
	}
	return s.changed(r, err)
}

func (s *server) drop(r *http.Request) (any, error) {
	said, err := asked[struct {
		Role string `json:"role"`
	}](r)
	if err == nil {
		err = s.days.Drop(r.PathValue("id"), said.Role)
	}
	return s.changed(r, err)
}

func (s *server) draw(r *http.Request) (any, error) {
	said, err := asked[struct {
		Corners []app.PointXY `json:"corners"`
	}](r)
	if err == nil {
		err = s.days.Draw(r.Context(), r.PathValue("id"), said.Corners)
	}
	return s.changed(r, err)
}

func (s *server) typed(r *http.Request) (any, error) {
	values, err := asked[map[string]any](r)
	if err == nil {
		err = s.days.Type(r.PathValue("id"), r.PathValue("kind"), values)
	}
	return s.changed(r, err)
}

func (s *server) reckon(r *http.Request) (any, error) {
	prices, err := asked[map[string]any](r)
	if err != nil {
		return nil, err
	}
	return s.days.Reckon(r.Context(), r.PathValue("id"), prices)
}

func (s *server) run(r *http.Request) (any, error) { return done{}, s.days.Start(r.PathValue("id")) }

func (s *server) look(r *http.Request) (any, error) { return done{}, s.days.Look(r.PathValue("id")) }

func (s *server) cancel(r *http.Request) (any, error) {
	s.days.Cancel(r.PathValue("id"))
	return done{}, nil
}

func (s *server) going(r *http.Request) (any, error) { return s.days.Going(r.PathValue("id")), nil }

func (s *server) view(r *http.Request) (any, error) {
	return s.days.View(r.Context(), r.PathValue("id"))
}

func (s *server) shapes(r *http.Request) (any, error) {
	return s.days.Shapes(r.Context(), r.PathValue("id"))
}

// under says what lies at the place in the query.
func (s *server) under(r *http.Request) (any, error) {
	q := r.URL.Query()
	x, errX := strconv.ParseFloat(q.Get("x"), 64)
	y, errY := strconv.ParseFloat(q.Get("y"), 64)
	if err := errors.Join(errX, errY); err != nil {
		return nil, &doubt.Problem{What: "what the page sent could not be read", Remedy: "load the page again", Err: err}
	}
	return s.days.Under(r.Context(), r.PathValue("id"), app.PointXY{x, y})
}

func (s *server) tile(w http.ResponseWriter, r *http.Request) {
	var t picture.Tile
	for _, f := range []struct {
		name string
		into *int
	}{{"level", &t.Level}, {"col", &t.Col}, {"row", &t.Row}} {
		n, err := strconv.Atoi(r.PathValue(f.name))
		if err != nil {
			http.Error(w, "there is no such part of the picture", http.StatusNotFound)
			return
		}
		*f.into = n
	}
	img, err := s.days.Tile(r.Context(), r.PathValue("id"), r.PathValue("what"), t)
	show(w, img, err)
}

func (s *server) crop(w http.ResponseWriter, r *http.Request) {
	img, err := s.days.Crop(r.Context(), r.PathValue("id"), r.PathValue("shape"), r.PathValue("what"))
	show(w, img, err)
}

// show answers with a picture. The page asks with the day's date in the query, so
// that a picture may be kept as long as the day is not made again.
func show(w http.ResponseWriter, img []byte, err error) {
	if err != nil {
		if errors.Is(err, context.Canceled) {
			return // the reader moved on
		}
		reply(w, nil, err)
		return
	}
	w.Header().Set("Content-Type", "image/png")
	w.Header().Set("Cache-Control", "private, max-age=86400")
	_, _ = w.Write(img) // the reader has gone: nobody left to tell
}

// file gives one file of a day, by the names that the day lists.
func (s *server) file(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	f, err := s.days.OpenFile(r.PathValue("id"), name)
	if err != nil {
		reply(w, nil, err)
		return
	}
	defer func() { _ = f.Close() }() // only read from
	info, err := f.Stat()
	if err != nil {
		reply(w, nil, err)
		return
	}
	base := path.Base(name)
	how := "attachment"
	if ext := path.Ext(base); ext == ".pdf" || ext == ".png" {
		how = "inline"
	}
	if kind := kindOf(base); kind != "" {
		w.Header().Set("Content-Type", kind)
	}
	w.Header().Set("Content-Disposition", mime.FormatMediaType(how, map[string]string{"filename": base}))
	w.Header().Set("Cache-Control", "no-cache")
	http.ServeContent(w, r, base, info.ModTime(), f)
}

// kindOf is the media type of a file of a day, the same on every system.
func kindOf(name string) string {
	switch path.Ext(name) {
	case ".pdf":
		return "application/pdf"
	case ".png":
		return "image/png"
	case ".json":
		return "application/json"
	case ".geojson":
		return "application/geo+json"
	case ".tif":
		return "image/tiff"
	case ".gpkg":
		return "application/geopackage+sqlite3"
	case ".kml":
		return "application/vnd.google-earth.kml+xml"
	case ".gpx":
		return "application/gpx+xml"
	case ".zip":
		return "application/zip"
	case ".txt":
		return "text/plain; charset=utf-8"
	}
	return "application/octet-stream"
}
