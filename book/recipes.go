package book

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// Recipes gives the texts of the recipes, by name: how tables are read. What
// they say is for the reader of tables.
func (b *Book) Recipes() []File {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.recipes
}

// RecipePath gives the place of a recipe.
func (b *Book) RecipePath(name string) string { return b.path(recipesDir, name) }

// recipeName holds a name to a file right in the folder of recipes.
func recipeName(name string) error {
	if name != filepath.Base(name) || !strings.EqualFold(filepath.Ext(name), ".toml") || strings.HasPrefix(name, ".") {
		return &Error{name, errors.New("it is no name for a recipe"), "Write a name such as liquid.toml, without folders"}
	}
	return nil
}

// AddRecipe keeps a recipe under a name such as "liquid.toml", in the place of
// the one that has it. The one before stays in the ledger.
func (b *Book) AddRecipe(ctx context.Context, name string, data []byte) error {
	b.work.Lock()
	defer b.work.Unlock()
	if err := recipeName(name); err != nil {
		return err
	}
	if err := b.disk.replace(b.path(recipesDir, name), b.path(tmpDir, "recipe"), data); err != nil {
		return writeError(b.dir, "keeping the recipe "+name, err)
	}
	if err := b.loadWritten(ctx); err != nil {
		return err
	}
	return nil
}

// RemoveRecipe takes a recipe out. It stays in the ledger; what was read by it
// is read no more at the next read.
func (b *Book) RemoveRecipe(ctx context.Context, name string) error {
	b.work.Lock()
	defer b.work.Unlock()
	if err := recipeName(name); err != nil {
		return err
	}
	err := os.Remove(b.path(recipesDir, name))
	if errors.Is(err, os.ErrNotExist) {
		return &Error{b.path(recipesDir), fmt.Errorf("there is no recipe %s", name), "Say evenstand recipe and the logbook for the list"}
	}
	if err != nil {
		return writeError(b.dir, "taking the recipe out", err)
	}
	return b.loadWritten(ctx)
}
