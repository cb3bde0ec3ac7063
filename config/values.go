package config

import "reflect"

// Values gives the settings by key as nested maps and lists, for the record of
// a run.
func Values(s Settings) map[string]any {
	return values(reflect.ValueOf(s)).(map[string]any)
}

func values(v reflect.Value) any {
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() {
			return nil
		}
		return values(v.Elem())
	case reflect.Struct:
		m := map[string]any{}
		for i := range v.NumField() {
			m[v.Type().Field(i).Tag.Get("key")] = values(v.Field(i))
		}
		return m
	case reflect.Slice:
		l := []any{}
		for i := range v.Len() {
			l = append(l, values(v.Index(i)))
		}
		return l
	}
	return v.Interface()
}
