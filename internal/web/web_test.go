package web_test

import (
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"

	"bittern/internal/app"
	"bittern/internal/web"
)

const token = "TESTTOKEN"

// open serves an empty folder of days.
func open(t *testing.T) (*httptest.Server, *app.Days) {
	t.Helper()
	days, err := app.OpenDays(filepath.Join(t.TempDir(), "days"), "bittern test", app.Setting{Workers: 1}, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	handler, err := web.Handler(days, token)
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(handler)
	t.Cleanup(func() {
		srv.Close()
		days.Close()
	})
	return srv, days
}

// ask sends one request and returns status, body and headers.
func ask(t *testing.T, method, url, body string, head map[string]string) (int, string, http.Header) {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), method, url, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	for k, v := range head {
		req.Header.Set(k, v)
		if k == "Host" {
			req.Host = v
		}
	}
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	_ = res.Body.Close()
	return res.StatusCode, string(text), res.Header
}

func TestOnlyTheOwnerGetsIn(t *testing.T) {
	srv, _ := open(t)
	for _, tc := range []struct {
		name, method, path string
		head               map[string]string
		want               int
	}{
		{"the printed address", "GET", "/" + token + "/", nil, http.StatusOK},
		{"its list", "GET", "/" + token + "/days", nil, http.StatusOK},
		{"no token", "GET", "/", nil, http.StatusForbidden},
		{"no token, a file", "GET", "/page.js", nil, http.StatusForbidden},
		{"another token", "GET", "/TESTTOKEX/days", nil, http.StatusForbidden},
		{"half a token", "GET", "/TEST/days", nil, http.StatusForbidden},
		{"a name that leads here (rebinding)", "GET", "/" + token + "/days", map[string]string{"Host": "evil.example:80"}, http.StatusForbidden},
		{"localhost by name", "GET", "/" + token + "/days", map[string]string{"Host": "localhost:80"}, http.StatusOK},
		{"a page elsewhere writes", "POST", "/" + token + "/days", map[string]string{"Origin": "http://evil.example", "Sec-Fetch-Site": "cross-site"}, http.StatusForbidden},
		{"an older browser elsewhere writes", "POST", "/" + token + "/days", map[string]string{"Origin": "http://evil.example"}, http.StatusForbidden},
		{"out of the folder", "GET", "/" + token + "/days/..%2F..%2Fetc/file/passwd", nil, http.StatusForbidden},
		{"out of the day", "GET", "/" + token + "/days/x/file/..%2F..%2Fday.json", nil, http.StatusForbidden},
	} {
		t.Run(tc.name, func(t *testing.T) {
			status, _, head := ask(t, tc.method, srv.URL+tc.path, "", tc.head)
			if status != tc.want {
				t.Errorf("%d, not %d", status, tc.want)
			}
			csp := head.Get("Content-Security-Policy")
			if tc.want == http.StatusOK && (!strings.Contains(csp, "default-src 'none'") || strings.Contains(csp, "unsafe")) {
				t.Errorf("content security policy %q", csp)
			}
		})
	}
}

func TestPageAsksNothingOutside(t *testing.T) {
	srv, _ := open(t)
	status, page, _ := ask(t, "GET", srv.URL+"/"+token+"/", "", nil)
	if status != http.StatusOK || !strings.Contains(page, "page.js") {
		t.Fatalf("%d: %s", status, page)
	}
	for _, m := range regexp.MustCompile(`(?:src|href)="([^"]*)"`).FindAllStringSubmatch(page, -1) {
		if strings.Contains(m[1], "//") || strings.HasPrefix(m[1], "/") {
			t.Errorf("the page asks for %s", m[1])
		}
	}
	if strings.Contains(page, "<script>") || strings.Contains(page, " style=") || regexp.MustCompile(` on[a-z]+=`).MatchString(page) {
		t.Error("the page has a script or a style of its own, which its policy forbids")
	}
}

func TestRefusalsAreSentences(t *testing.T) {
	srv, _ := open(t)
	at := srv.URL + "/" + token
	_, made, _ := ask(t, "POST", at+"/days", "{}", nil)
	var day struct{ ID string }
	if err := json.Unmarshal([]byte(made), &day); err != nil || day.ID == "" {
		t.Fatalf("%s: %v", made, err)
	}
	for _, tc := range []struct{ name, method, path, body, want string }{
		{"run without a picture", "POST", "/run", "", "picture"},
		{"a PDF as a picture", "POST", "/take?role=picture&name=letter.pdf", "%PDF-1.4\n%%EOF\n", "letter.pdf"},
		{"a name with a way out", "POST", "/take?role=boundary&name=..%2F..%2Fasked.toml", "x", "cannot be kept"},
		{"half a path", "POST", "/path", `{"role":"picture","path":"field.tif"}`, "whole path"},
		{"a path that is not there", "POST", "/path", `{"role":"picture","path":"/nowhere/field.tif"}`, "field.tif"},
		{"a date that is none", "POST", "/answer", `{"flown":"yesterday"}`, "yesterday"},
		{"a price in words", "POST", "/type/prices", `{"crop_dollars_per_bushel":"six"}`, "crop_dollars_per_bushel"},
		{"an unknown price", "POST", "/type/prices", `{"profit":6}`, "profit"},
		{"nothing to look at", "POST", "/look", "", "no picture"},
		{"a tile of nothing", "GET", "/tile/plain/0/0/0", "", "no picture"},
		{"no such day", "GET", "/../nowhere", "", ""},
		{"what the page does not send", "POST", "/answer", `{"evil":1}`, "load the page again"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			status, text, _ := ask(t, tc.method, at+"/days/"+day.ID+tc.path, tc.body, nil)
			if status == http.StatusOK {
				t.Fatalf("accepted: %s", text)
			}
			if tc.want == "" {
				return
			}
			var says struct{ Says string }
			if err := json.Unmarshal([]byte(text), &says); err != nil || !strings.Contains(says.Says, tc.want) || strings.Contains(says.Says, "\n") {
				t.Errorf("%d %q: %v", status, text, err)
			}
		})
	}
	_, page, _ := ask(t, "GET", at+"/days/"+day.ID, "", nil)
	var after app.DayPage
	if err := json.Unmarshal([]byte(page), &after); err != nil || after.Picture != nil || after.Asked.Boundary != "" || after.Asked.Prices != "" {
		t.Errorf("something of the refused stayed: %s (%v)", page, err)
	}
}

// TestMirror holds the page's own names of things against the program's: every
// key that the page reads must be one that is written.
func TestMirror(t *testing.T) {
	text, err := os.ReadFile("ui/src/api.ts")
	if err != nil {
		t.Fatal(err)
	}
	for name, v := range map[string]any{
		"DayRow": app.DayRow{}, "Part": app.Part{}, "Going": app.Going{}, "DayPage": app.DayPage{}, "BoundaryShown": app.BoundaryShown{},
		"Words": app.PageWords{}, "MoneyRow": app.MoneyRow{}, "FileShown": app.FileShown{}, "ViewShown": app.ViewShown{}, "Shape": app.Shape{},
		"Shapes": app.Shapes{}, "Suspect": app.Suspect{}, "Hint": app.Hint{}, "Warning": app.Warning{}, "Block": app.Block{}, "Day": app.Day{},
		"Description": app.Description{}, "Band": app.Band{}, "Check": app.Check{}, "IndexShown": app.IndexShown{}, "Under": app.Under{}, "Reckoned": app.Reckoned{}, "Asked": app.DayPage{}.Asked,
	} {
		body := regexp.MustCompile(`(?s)export interface ` + name + ` \{\n(.*?)\n\}`).FindSubmatch(text)
		if body == nil {
			t.Errorf("the page does not know %s", name)
			continue
		}
		keys := map[string]bool{}
		for f := range fieldsOf(reflect.TypeOf(v)) {
			keys[f] = true
		}
		for _, m := range regexp.MustCompile(`(?m)^  readonly (\w+):`).FindAllSubmatch(body[1], -1) {
			if !keys[string(m[1])] {
				t.Errorf("the page reads %s.%s, which nobody writes", name, m[1])
			}
		}
	}
}

func fieldsOf(of reflect.Type) map[string]bool {
	out := map[string]bool{}
	for i := range of.NumField() {
		key, _, _ := strings.Cut(of.Field(i).Tag.Get("json"), ",")
		out[key] = true
	}
	return out
}

func TestSecondServeFindsTheFirst(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "days")
	first, stop := context.WithCancel(t.Context())
	addresses, ended := make(chan string, 2), make(chan error, 2)
	serve := func(ctx context.Context) {
		days, err := app.OpenDays(folder, "bittern test", app.Setting{Workers: 1}, time.Now)
		if err != nil {
			ended <- err
			return
		}
		defer days.Close()
		ended <- web.Serve(ctx, days, 0, func(a string) { addresses <- a })
	}
	go serve(first)
	a := <-addresses
	if status, _, _ := ask(t, "GET", a, "", nil); status != http.StatusOK {
		t.Fatalf("the printed address answers %d", status)
	}
	serve(t.Context()) // returns at once: the first one's page is there
	if b := <-addresses; b != a {
		t.Errorf("a second page at %s", b)
	}
	if err := <-ended; err != nil {
		t.Error(err)
	}
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	again, stopAgain := context.WithCancel(t.Context())
	go serve(again)
	if b := <-addresses; b == a {
		t.Error("the address of a page that is gone was taken for alive")
	}
	stopAgain()
	if err := <-ended; err != nil {
		t.Error(err)
	}
}
