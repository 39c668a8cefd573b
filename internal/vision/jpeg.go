package vision

import (
	"errors"

	"shadowread/internal/fault"
	"shadowread/internal/photo"
	"shadowread/internal/pixels"
)

// decodeJPEG decodes a JPEG to gray, and says for people why it does not.
func decodeJPEG(data []byte, factor int) (*Gray, error) {
	p, err := pixels.DecodeJPEG(data, factor)
	switch {
	case err == nil:
		return &Gray{W: p.W, H: p.H, Pix: p.Pix, Factor: factor}, nil
	case errors.Is(err, pixels.ErrScans):
		return nil, photo.TooLarge("the JPEG file is made of more scans than any camera makes")
	case errors.Is(err, pixels.ErrLarge):
		return nil, photo.TooLarge("the picture is larger than what is read")
	case errors.Is(err, pixels.ErrKind):
		return nil, fault.New("unreadable_file", "save the photo anew as an ordinary JPEG, in colour or gray",
			"the JPEG file is of a kind that no camera writes (arithmetic coding, or inks for colours)")
	}
	return nil, photo.Damaged()
}
