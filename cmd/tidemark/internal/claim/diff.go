package claim

import (
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
)

// near is how far two figures may lie apart and be the same: machines differ in the last
// digits of sums.
const near = 1e-9

// diff lists what differs between two values of maps, lists and figures, each with the way
// to it: "findings F17 state: the report says seen, and it is not_found".
func diff(at string, said, is any) []string {
	switch a := said.(type) {
	case map[string]any:
		b, ok := is.(map[string]any)
		if !ok {
			break
		}
		var out []string
		keys := slices.Sorted(maps.Keys(a))
		for _, k := range slices.Sorted(maps.Keys(b)) {
			if _, there := a[k]; !there {
				keys = append(keys, k)
			}
		}
		for _, k := range keys {
			out = append(out, diff(join(at, k), a[k], b[k])...)
		}
		return out
	case []any:
		b, ok := is.([]any)
		if !ok {
			break
		}
		return diffList(at, a, b)
	case float64:
		if b, ok := is.(float64); ok && math.Abs(a-b) <= near*max(1, math.Abs(a), math.Abs(b)) {
			return nil
		}
	}
	if reflect.DeepEqual(said, is) {
		return nil
	}
	return []string{fmt.Sprintf("%s: the report says %s, and it is %s", at, show(said), show(is))}
}

func join(at, key string) string {
	if at == "" {
		return key
	}
	return at + " " + key
}

// diffList compares lists: of entries with an id by that, of others one by one.
func diffList(at string, a, b []any) []string {
	ids, other := byID(a), byID(b)
	var out []string
	if ids != nil && other != nil {
		for i, x := range a {
			id := idOf(x)
			y, ok := other[id]
			if !ok {
				out = append(out, fmt.Sprintf("%s %s: the report has it, and it is not there", at, id))
				continue
			}
			out = append(out, diff(join(at, id), x, y)...)
			if i < len(b) && len(a) == len(b) && idOf(b[i]) != id && len(out) == 0 {
				out = append(out, fmt.Sprintf("%s: the report has %s where it is %s", at, id, idOf(b[i])))
			}
		}
		for _, y := range b {
			if _, ok := ids[idOf(y)]; !ok {
				out = append(out, fmt.Sprintf("%s %s: it is there, and the report has it not", at, idOf(y)))
			}
		}
		return out
	}
	for i := range max(len(a), len(b)) {
		var x, y any
		if i < len(a) {
			x = a[i]
		}
		if i < len(b) {
			y = b[i]
		}
		out = append(out, diff(fmt.Sprintf("%s %d", at, i+1), x, y)...)
	}
	return out
}

// byID is a list by the ids of its entries; nil where they have none of their own.
func byID(list []any) map[string]any {
	out := map[string]any{}
	for _, x := range list {
		id := idOf(x)
		if _, twice := out[id]; id == "" || twice {
			return nil
		}
		out[id] = x
	}
	return out
}

func idOf(x any) string {
	m, _ := x.(map[string]any)
	for _, key := range []string{"id", "finding", "of", "sign", "path"} {
		if s, ok := m[key].(string); ok {
			if at, _ := m["at"].(string); at != "" {
				s += " at " + at
			}
			return s
		}
	}
	return ""
}

// show is a value in few letters.
func show(x any) string {
	switch v := x.(type) {
	case nil:
		return "nothing"
	case string:
		return fmt.Sprintf("%q", clip(v))
	case float64:
		return fmt.Sprintf("%.6g", v)
	case map[string]any, []any:
		return "something else"
	}
	return fmt.Sprint(x)
}
