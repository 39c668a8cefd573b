package logbook

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"strconv"
)

// row is an entry as it stands in the table.
type row struct {
	number, journey, slot, supersedes int // supersedes 0: NULL
	kind                              Kind
	timeNS, writtenNS                 int64
	photo                             []byte
	importKey                         string
	note, content                     string
	previous, hash                    []byte
}

// digest returns the SHA-256 of a row: of its fields in the order of the table but
// for its own hash, each led by its length in bytes as 8 bytes, most significant
// first; numbers in decimal, NULL as no bytes. docs/log.md states this.
func (r *row) digest() []byte {
	h := sha256.New()
	field := func(b []byte) {
		var length [8]byte
		binary.BigEndian.PutUint64(length[:], uint64(len(b)))
		h.Write(length[:])
		h.Write(b)
	}
	number := func(n int64) { field(strconv.AppendInt(nil, n, 10)) }
	number(int64(r.number))
	number(int64(r.journey))
	number(int64(r.slot))
	if r.supersedes == 0 {
		field(nil)
	} else {
		number(int64(r.supersedes))
	}
	field([]byte(r.kind))
	number(r.timeNS)
	number(r.writtenNS)
	field(r.photo)
	field([]byte(r.importKey))
	field([]byte(r.note))
	field([]byte(r.content))
	field(r.previous)
	return h.Sum(nil)
}

// said are the columns that an entry is read from, in the order of scanSaid; columns
// are all, in the order of scan.
const (
	said    = "number, journey, slot, coalesce(supersedes, 0), kind, time_ns, written_ns, note, content"
	columns = said + ", photo_sha256, coalesce(import_key, ''), previous, hash"
)

type scanner interface{ Scan(...any) error }

func (r *row) scanSaid(s scanner) error {
	return s.Scan(&r.number, &r.journey, &r.slot, &r.supersedes, &r.kind, &r.timeNS, &r.writtenNS, &r.note, &r.content)
}

func (r *row) scan(s scanner) error {
	return s.Scan(&r.number, &r.journey, &r.slot, &r.supersedes, &r.kind, &r.timeNS, &r.writtenNS, &r.note, &r.content,
		&r.photo, &r.importKey, &r.previous, &r.hash)
}

// entry reads what the row says.
func (r *row) entry() (*Entry, error) {
	content, place, err := decode(r.kind, []byte(r.content))
	if err != nil {
		return nil, fmt.Errorf("entry %d: %w", r.number, err)
	}
	return &Entry{
		Number: r.number, Journey: r.journey, Slot: r.slot, Supersedes: r.supersedes,
		Time: fromNS(r.timeNS), Written: fromNS(r.writtenNS), Note: r.note, Content: content, Place: place, Offset: offsetIn(r.content),
	}, nil
}
