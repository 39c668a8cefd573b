package photofile

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"shadowread/internal/fault"
	"shadowread/internal/openfile"
	"shadowread/internal/wholefile"
)

// SaveOverlay writes a picture, a JPEG, of what was found in the photo at path, and returns the
// file's name: NAME-overlay.jpg in dir, which is made if it is not there. An
// existing file of that name is replaced only if it is an overlay of the same
// photo; otherwise, as for photos of one name from different folders, the new one
// is NAME-xxxxxx-overlay.jpg, the six digits following from the photo's full path.
//
// The file comes under its name whole or not at all; two photos of one name may be at it at
// the same time. It fails with "overlay_not_written"; then there is no file.
func SaveOverlay(path, dir string, data []byte) (written string, err error) {
	full, err := filepath.Abs(path)
	if err != nil {
		return "", notWritten(err)
	}
	sum := fmt.Sprintf("%x", sha256.Sum256([]byte(full)))
	// A comment segment (ITU-T T.81, B.2.4.5) behind the start of image says of
	// which photo this is the overlay, without naming it.
	comment := "shadowread overlay " + sum[:16]
	head := binary.BigEndian.AppendUint16([]byte{0xFF, 0xD8, 0xFF, 0xFE}, uint16(2+len(comment)))
	head = append(head, comment...)
	data = append(head, data[2:]...)

	if err := os.MkdirAll(dir, 0o777); err != nil {
		return "", notWritten(err)
	}
	put := func(w io.Writer) error { _, err := w.Write(data); return err }
	base := strings.TrimSuffix(filepath.Base(path), filepath.Ext(path))
	for _, name := range []string{base + "-overlay.jpg", base + "-" + sum[:6] + "-overlay.jpg"} {
		written = filepath.Join(dir, name)
		err = errors.Join(wholefile.WriteNew(written, put))
		if errors.Is(err, fs.ErrExist) && beginsWith(written, head) {
			err = errors.Join(wholefile.Write(written, put))
		}
		switch {
		case err == nil:
			return written, nil
		case !errors.Is(err, fs.ErrExist):
			return "", notWritten(wholefile.Cause(err))
		}
	}
	return "", notWritten(fmt.Errorf("%s is there already and is something else", written))
}

// beginsWith reports whether the file of the name begins with head.
func beginsWith(name string, head []byte) bool {
	f, err := openfile.Regular(name)
	if err != nil {
		return false
	}
	defer f.Close()
	was := make([]byte, len(head))
	_, err = io.ReadFull(f, was)
	return err == nil && bytes.Equal(was, head)
}

func notWritten(err error) error {
	return fault.Wrap(err, "overlay_not_written", "name a folder that can be written to, on a disk with room", "the overlay cannot be written")
}
