//go:build cloud

package main

import (
	"context"
	_ "embed" // the notices
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"gocloud.dev/blob"
	_ "gocloud.dev/blob/azureblob" // azblob://
	_ "gocloud.dev/blob/fileblob"  // file://
	_ "gocloud.dev/blob/gcsblob"   // gs://
	_ "gocloud.dev/blob/s3blob"    // s3://
	"gocloud.dev/gcerrors"

	"retotal/ingest/mirror"
)

// cloudNotices are those of what object stores take, which .ci/licenses writes.
//
//go:embed notices-cloud.txt
var cloudNotices string

// openStore opens a bucket. Who asks is known to the store's library from the environment.
func openStore(ctx context.Context, scheme, host, query string) (mirror.Store, error) {
	url := scheme + "://" + host
	if scheme == "file" { // nothing beside the files
		query = strings.TrimSuffix("metadata=skip&no_tmp_dir=1&"+query, "&")
	}
	address := url
	if query != "" {
		address += "?" + query
	}
	b, err := blob.OpenBucket(ctx, address)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be opened: %w", url, err)
	}
	return &cloudStore{b}, nil
}

// cloudStore is a bucket of any store that gocloud.dev/blob knows.
type cloudStore struct{ *blob.Bucket }

// List returns the objects whose keys begin so.
func (s *cloudStore) List(ctx context.Context, prefix string) (list []mirror.Object, err error) {
	for each := s.Bucket.List(&blob.ListOptions{Prefix: prefix}); ; {
		o, err := each.Next(ctx)
		if errors.Is(err, io.EOF) {
			return list, nil
		}
		if err != nil {
			return nil, err
		}
		if !o.IsDir {
			list = append(list, mirror.Object{Key: o.Key, Size: o.Size})
		}
	}
}

// Read begins to read a part of an object. Its version is its size and when it was written.
func (s *cloudStore) Read(ctx context.Context, key string, from, length int64) (io.ReadCloser, string, error) {
	r, err := s.NewRangeReader(ctx, key, from, length, nil)
	if err != nil {
		return nil, "", err
	}
	return r, fmt.Sprint(r.Size(), " ", r.ModTime().UnixNano()), nil
}

// kinds are the kinds of what browsers show, by the endings of files.
var kinds = map[string]string{".html": "text/html; charset=utf-8", ".csv": "text/csv; charset=utf-8",
	".json": "application/json", ".png": "image/png", ".svg": "image/svg+xml"}

// Write makes an object of a file.
func (s *cloudStore) Write(ctx context.Context, key, name string) error {
	f, err := os.Open(name)
	if err != nil {
		return err
	}
	defer f.Close()
	kind, ok := kinds[filepath.Ext(name)]
	if !ok {
		kind = "application/octet-stream"
	}
	return s.Upload(ctx, key, f, &blob.WriterOptions{ContentType: kind})
}

// Remove removes an object.
func (s *cloudStore) Remove(ctx context.Context, key string) error {
	if err := s.Delete(ctx, key); err != nil && gcerrors.Code(err) != gcerrors.NotFound {
		return err
	}
	return nil
}
