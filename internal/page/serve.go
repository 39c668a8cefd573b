package page

import (
	"bytes"
	"context"
	"errors"
	"net"
	"net/http"
	"path"
	"strconv"
	"strings"
	"time"

	"shadowread/internal/fault"
)

// kinds are the media types of the page's files. A browser takes no module for another, and
// some systems have tables of their own.
var kinds = map[string]string{
	".html": "text/html; charset=utf-8", ".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8",
	".webmanifest": "application/manifest+json", ".json": "application/json", ".svg": "image/svg+xml", ".png": "image/png",
	".gz":  "application/gzip", // not as an encoding: the page unpacks it
	".txt": "text/plain; charset=utf-8",
}

// Handler serves the page to who asks for it under one of the hosts; a name from elsewhere
// that was made to lead here is refused.
func (p *Page) Handler(hosts ...string) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", Policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-cache") // asked for anew each time, so that a new version is seen
		known := false
		for _, host := range hosts {
			known = known || r.Host == host
		}
		switch {
		case !known:
			http.Error(w, "this page is for "+hosts[0]+" alone", http.StatusMisdirectedRequest)
			return
		case r.Method != http.MethodGet && r.Method != http.MethodHead:
			h.Set("Allow", "GET, HEAD")
			http.Error(w, "this page is only read", http.StatusMethodNotAllowed)
			return
		}
		name, rooted := strings.CutPrefix(r.URL.Path, "/")
		if rooted && name == "" {
			name = "index.html"
		}
		data, ok := p.files[name]
		if !ok || !rooted {
			http.NotFound(w, r)
			return
		}
		h.Set("Content-Type", kinds[path.Ext(name)])
		h.Set("ETag", strconv.Quote(p.Version))
		http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(data))
	})
}

// Serve serves the page on the port of this machine's loopback address, 0 for any, until ctx
// is done, which is its end; begun is told the address. It fails with code port_taken or
// cannot_serve.
func (p *Page) Serve(ctx context.Context, port int, begun func(address string)) error {
	listener, err := net.ListenTCP("tcp4", &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: port})
	if err != nil {
		return fault.Wrap(err, "port_taken", "end what has it, or give another --port", "port %d of this machine cannot be taken", port)
	}
	at := strconv.Itoa(listener.Addr().(*net.TCPAddr).Port)
	server := &http.Server{Handler: p.Handler("127.0.0.1:"+at, "localhost:"+at), ReadHeaderTimeout: 10 * time.Second, IdleTimeout: time.Minute}
	stop := context.AfterFunc(ctx, func() {
		ending, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		if server.Shutdown(ending) != nil {
			server.Close()
		}
	})
	defer stop()
	begun("http://127.0.0.1:" + at + "/")
	if err := server.Serve(listener); !errors.Is(err, http.ErrServerClosed) {
		return fault.Wrap(err, "cannot_serve", "try another port", "the page cannot be served")
	}
	return ctx.Err()
}
