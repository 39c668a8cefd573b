package telling

import (
	"reflect"
	"testing"

	"shadowread/internal/reading"
)

// Every part of the budget is a term, and every term is explained.
func TestBudgetTermsAreExplained(t *testing.T) {
	terms := reading.Budget{}.Terms()
	for _, term := range terms {
		if meanings[term.Name] == "" {
			t.Errorf("the term %s has no meaning", term.Name)
		}
	}
	if fields := reflect.TypeFor[reading.Budget]().NumField(); len(terms) != fields || len(meanings) != fields {
		t.Errorf("%d parts, %d terms, %d meanings", fields, len(terms), len(meanings))
	}
}
