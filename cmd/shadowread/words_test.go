package main

import (
	"bytes"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// No term that was given up is left in what people read.
func TestGivenUpTermsAreGone(t *testing.T) {
	cmd := exec.Command("bash", "scripts/words.sh")
	cmd.Dir = filepath.Join("..", "..")
	if err := exec.Command("git", "-C", cmd.Dir, "rev-parse").Run(); err != nil {
		t.Skip("the script asks git for the files")
	}
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
}

var quotedKey = regexp.MustCompile("`\"?([a-z_0-9.]+)[\": a-z_]*`")

// The keys of docs/words.md are keys of JSON that the program writes.
func TestKeysOfWordsExist(t *testing.T) {
	root := filepath.Join("..", "..")
	page, err := os.ReadFile(filepath.Join(root, "docs", "words.md"))
	if err != nil {
		t.Fatal(err)
	}
	var source bytes.Buffer
	for _, dir := range []string{"cmd", "internal"} {
		err := filepath.WalkDir(filepath.Join(root, dir), func(path string, d fs.DirEntry, err error) error {
			if err != nil || filepath.Ext(path) != ".go" || strings.HasSuffix(path, "_test.go") {
				return err
			}
			data, err := os.ReadFile(path)
			source.Write(data)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	keys := 0
	for line := range strings.Lines(string(page)) {
		cells := strings.Split(line, "|")
		if len(cells) != 5 {
			continue
		}
		for _, m := range quotedKey.FindAllStringSubmatch(cells[3], -1) {
			for key := range strings.SplitSeq(strings.Trim(m[1], "."), ".") {
				if strings.HasPrefix(key, "_") { // part of many keys
					continue
				}
				keys++
				if !bytes.Contains(source.Bytes(), []byte(`"`+key)) {
					t.Errorf("no JSON has the key %s", key)
				}
			}
		}
	}
	if keys < 40 {
		t.Errorf("found only %d keys", keys)
	}
}
