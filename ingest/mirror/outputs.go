package mirror

import (
	"context"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// Fetch brings here the objects below a place whose keys fit, and returns all that are there by their names below it.
func (m *Mirror) Fetch(ctx context.Context, at Place, wanted func(name string) bool) (all []string, err error) {
	prefix := at.Key + "/"
	if at.Key == "" {
		prefix = ""
	}
	list, err := at.list(ctx, prefix)
	if err != nil {
		return nil, err
	}
	var get []Object
	for _, o := range list {
		name := strings.TrimPrefix(o.Key, prefix)
		all = append(all, name)
		if wanted(name) {
			get = append(get, o)
		}
	}
	return all, each(len(get), func(i int) error {
		return m.get(ctx, Place{at.bucket, get[i].Key}, get[i].Size)
	})
}

// Send makes an object of the file that stands for it.
func (m *Mirror) Send(ctx context.Context, at Place) error { return m.SendAs(ctx, at.Name(), at) }

// SendAs makes an object of a file.
func (m *Mirror) SendAs(ctx context.Context, name string, at Place) error {
	if err := at.store.Write(ctx, at.Key, name); err != nil {
		return &Failure{at.URL(), err}
	}
	return nil
}

// Remove removes an object.
func (m *Mirror) Remove(ctx context.Context, at Place) error {
	if err := at.store.Remove(ctx, at.Key); err != nil {
		return &Failure{at.URL(), err}
	}
	return nil
}

// SendFolder makes the objects below a place those that the files in its folder are: others there are removed.
func (m *Mirror) SendFolder(ctx context.Context, at Place) error {
	here := map[string]bool{}
	var names []string
	err := filepath.WalkDir(at.Name(), func(name string, entry fs.DirEntry, err error) error {
		if err != nil || !entry.Type().IsRegular() {
			return err
		}
		key, err := filepath.Rel(at.Name(), name)
		here[filepath.ToSlash(key)], names = true, append(names, filepath.ToSlash(key))
		return err
	})
	if err != nil && !os.IsNotExist(err) {
		return err
	}
	there, err := m.Fetch(ctx, at, func(string) bool { return false })
	if err != nil {
		return err
	}
	if err := each(len(names), func(i int) error { return m.Send(ctx, at.Of(names[i])) }); err != nil {
		return err
	}
	return each(len(there), func(i int) error {
		if here[there[i]] {
			return nil
		}
		return m.Remove(ctx, at.Of(there[i]))
	})
}

// Have reports whether there is an object for which a file stands, and fetches it when asked to.
func (m *Mirror) Have(ctx context.Context, name string, fetch bool) (bool, error) {
	at, ok := m.Of(name)
	if !ok {
		return false, nil
	}
	size, found, err := at.size(ctx)
	if found && fetch {
		err = m.get(ctx, at, size)
	}
	return found, err
}
