// Package packed turns values into bytes and back. The same value gives the same
// bytes, whatever the machine: what one process worked out another can take up, and
// two attempts at one part of a job can be compared byte by byte.
//
// Rejected: gob, whose maps come in any order and which takes a pointer to zero for
// no pointer; JSON, which has no NaN, and NaN is what a missing number is here.
package packed

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"reflect"
	"sync"
	"time"
)

// Append adds a value's bytes to b. A value is a struct of texts, numbers, booleans
// and times, and of lists of, arrays of, structs of and pointers to these. Fields
// that are not exported stay behind.
func Append(b []byte, v any) []byte {
	r := reflect.ValueOf(v)
	if r.Kind() == reflect.Pointer {
		r = r.Elem()
	}
	return appendValue(b, r)
}

// ErrShort says that bytes end before the value does, or are none of it.
var ErrShort = errors.New("is cut short or damaged")

// Take is Append undone, into what a pointer points to; it gives what follows.
func Take(b []byte, into any) (rest []byte, err error) {
	defer func() {
		if recover() != nil { // an index beyond the end, whichever field it was
			rest, err = nil, ErrShort
		}
	}()
	return takeValue(b, reflect.ValueOf(into).Elem()), nil
}

var timeType = reflect.TypeFor[time.Time]()

func appendValue(b []byte, f reflect.Value) []byte {
	switch f.Kind() {
	case reflect.String:
		return append(binary.AppendUvarint(b, uint64(f.Len())), f.String()...)
	case reflect.Float64:
		return binary.LittleEndian.AppendUint64(b, math.Float64bits(f.Float()))
	case reflect.Float32:
		return binary.LittleEndian.AppendUint32(b, math.Float32bits(float32(f.Float())))
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		return binary.AppendVarint(b, f.Int())
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		return binary.AppendUvarint(b, f.Uint())
	case reflect.Bool:
		if f.Bool() {
			return append(b, 1)
		}
		return append(b, 0)
	case reflect.Pointer:
		if f.IsNil() {
			return append(b, 0)
		}
		return appendValue(append(b, 1), f.Elem())
	case reflect.Struct:
		return appendStruct(b, f)
	case reflect.Array:
		return appendItems(b, f)
	case reflect.Slice:
		if f.IsNil() { // no list, where JSON tells it from an empty one
			return append(b, 0)
		}
		return appendItems(binary.AppendUvarint(b, uint64(f.Len())+1), f)
	}
	panic(fmt.Sprintf("packed: no way to keep a %s", f.Type()))
}

func appendStruct(b []byte, f reflect.Value) []byte {
	if f.Type() == timeType {
		t := f.Interface().(time.Time)
		zone := t.Location().String()
		b = append(binary.AppendUvarint(b, uint64(len(zone))), zone...)
		return binary.AppendUvarint(binary.AppendVarint(b, t.Unix()), uint64(t.Nanosecond()))
	}
	for _, i := range exported(f.Type()) {
		b = appendValue(b, f.Field(i))
	}
	return b
}

var fieldsOf sync.Map // by type: []int

// exported gives the places of a struct's exported fields, worked out once a type.
func exported(t reflect.Type) []int {
	if known, ok := fieldsOf.Load(t); ok {
		return known.([]int)
	}
	var fields []int
	for i := range t.NumField() {
		if t.Field(i).IsExported() {
			fields = append(fields, i)
		}
	}
	fieldsOf.Store(t, fields)
	return fields
}

// appendItems adds the items of a list. Numbers of a fixed size, of which there are
// as many as hours, go in one piece.
func appendItems(b []byte, f reflect.Value) []byte {
	if fixed(f.Type().Elem()) {
		b, err := binary.Append(b, binary.LittleEndian, f.Interface())
		if err != nil {
			panic(err) // fixed tells
		}
		return b
	}
	for i := range f.Len() {
		b = appendValue(b, f.Index(i))
	}
	return b
}

func fixed(t reflect.Type) bool {
	switch t.Kind() {
	case reflect.Float64, reflect.Float32, reflect.Int8, reflect.Uint8, reflect.Uint16, reflect.Uint32:
		return true
	}
	return false
}

func takeValue(b []byte, f reflect.Value) []byte {
	switch f.Kind() {
	case reflect.String:
		s, b := takeString(b)
		f.SetString(s)
		return b
	case reflect.Float64:
		f.SetFloat(math.Float64frombits(binary.LittleEndian.Uint64(b)))
		return b[8:]
	case reflect.Float32:
		f.SetFloat(float64(math.Float32frombits(binary.LittleEndian.Uint32(b))))
		return b[4:]
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		n, b := takeVarint(b)
		f.SetInt(n)
		return b
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		n, b := takeUvarint(b)
		f.SetUint(n)
		return b
	case reflect.Bool:
		f.SetBool(b[0] == 1)
		return b[1:]
	case reflect.Pointer:
		if b[0] == 0 {
			f.SetZero()
			return b[1:]
		}
		f.Set(reflect.New(f.Type().Elem()))
		return takeValue(b[1:], f.Elem())
	case reflect.Struct:
		return takeStruct(b, f)
	case reflect.Array:
		return takeItems(b, f)
	case reflect.Slice:
		more, b := takeUvarint(b)
		if more == 0 {
			f.SetZero()
			return b
		}
		n := int(more) - 1
		if n > len(b) && f.Type().Elem().Size() > 0 { // no item takes less than a byte
			panic(ErrShort)
		}
		f.Set(reflect.MakeSlice(f.Type(), n, n))
		return takeItems(b, f)
	}
	panic(fmt.Sprintf("packed: no way to keep a %s", f.Type()))
}

func takeStruct(b []byte, f reflect.Value) []byte {
	if f.Type() == timeType {
		name, b := takeString(b)
		sec, b := takeVarint(b)
		ns, b := takeUvarint(b)
		f.Set(reflect.ValueOf(time.Unix(sec, int64(ns)).In(zone(name))))
		return b
	}
	for _, i := range exported(f.Type()) {
		b = takeValue(b, f.Field(i))
	}
	return b
}

func takeItems(b []byte, f reflect.Value) []byte {
	if fixed(f.Type().Elem()) {
		into := f.Interface()
		if f.Kind() == reflect.Array {
			into = f.Addr().Interface()
		}
		n := binary.Size(into)
		if _, err := binary.Decode(b[:n], binary.LittleEndian, into); err != nil { // no more than n bytes: of int8 it takes all
			panic(ErrShort)
		}
		return b[n:]
	}
	for i := range f.Len() {
		b = takeValue(b, f.Index(i))
	}
	return b
}

func takeString(b []byte) (string, []byte) {
	n, b := takeUvarint(b)
	return string(b[:n]), b[n:]
}

func takeUvarint(b []byte) (uint64, []byte) {
	n, k := binary.Uvarint(b)
	if k <= 0 {
		panic(ErrShort)
	}
	return n, b[k:]
}

func takeVarint(b []byte) (int64, []byte) {
	n, k := binary.Varint(b)
	if k <= 0 {
		panic(ErrShort)
	}
	return n, b[k:]
}
