// Package testtable reads the tables of reference values that tests are held against:
// CSV files whose first lines, marked #, name their sources.
package testtable

import (
	"encoding/csv"
	"io"
	"os"
	"strconv"
	"testing"
)

// Row is one line of a table by the names of its columns.
type Row map[string]string

// Read returns the rows of the table in a file; a table without rows fails the test.
func Read(t testing.TB, path string) []Row {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	return ReadFrom(t, f)
}

// ReadFrom is Read for a table that comes from elsewhere.
func ReadFrom(t testing.TB, r io.Reader) (rows []Row) {
	t.Helper()
	c := csv.NewReader(r)
	c.Comment = '#'
	records, err := c.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(records) < 2 {
		t.Fatal("the table has no rows")
	}
	for _, record := range records[1:] {
		row := Row{}
		for i, column := range records[0] {
			row[column] = record[i]
		}
		rows = append(rows, row)
	}
	return rows
}

// Number returns what stands in a column; a column that is not there, or holds no
// number, fails the test.
func (r Row) Number(t testing.TB, column string) float64 {
	t.Helper()
	if _, ok := r[column]; !ok {
		t.Fatalf("the table has no column %s", column)
	}
	return Number(t, r[column])
}

// Number returns what a figure in print stands for.
func Number(t testing.TB, s string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}
