//! Which file of a crate uses which, read from the sources: `use` lines and paths, also those inside macros,
//! followed through what is passed on (`pub use`) to the file where an item is written.
//!
//! A module's own declaration of its parts is no use, a path inside a comment is none, and a method called
//! on a value is none: only names that are written count.

use proc_macro2::{TokenStream, TokenTree};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;
use syn::{Item, UseTree};

/// A file and another that it uses: the names it takes from there.
pub type Uses = BTreeMap<(String, String), BTreeSet<String>>;

/// A module: what is written in it and what it brings into scope.
#[derive(Default)]
struct Module {
    /// Its file, relative to the crate's `src`.
    file: String,
    items: Vec<Item>,
    children: BTreeSet<String>,
    own: BTreeSet<String>,
    /// Name in scope, and the path it stands for.
    brought: BTreeMap<String, Vec<String>>,
    globs: Vec<Vec<String>>,
}

/// All modules of a crate by their paths.
pub struct Crate {
    modules: BTreeMap<Vec<String>, Module>,
}

impl Crate {
    /// The crate whose root is `root` (`src/lib.rs`).
    pub fn read(root: &Path) -> Self {
        let mut modules = BTreeMap::new();
        let src = root.parent().expect("a folder");
        read_file(&mut modules, src, root, Vec::new());
        Self { modules }
    }

    /// Who uses whom, file by file.
    pub fn uses(&self) -> Uses {
        let mut found = Uses::new();
        for (path, module) in &self.modules {
            let mut words: Vec<Vec<String>> = module
                .brought
                .values()
                .chain(&module.globs)
                .cloned()
                .collect();
            for item in &module.items {
                if !matches!(item, Item::Use(_) | Item::Mod(_)) {
                    paths(quote::ToTokens::to_token_stream(item), &mut words);
                }
            }
            for word in words {
                let to = self.written_in(path, &word, 0);
                if let Some(to) = to.filter(|to| *to != module.file) {
                    let name = word.join("::");
                    found
                        .entry((module.file.clone(), to))
                        .or_default()
                        .insert(name);
                }
            }
        }
        found
    }

    /// The file in which the item lies that `word` names, said in module `at`; none where it is no
    /// item of this crate.
    fn written_in(&self, at: &[String], word: &[String], depth: usize) -> Option<String> {
        if depth > 20 {
            return None;
        }
        let mut here = at.to_vec();
        let mut rest = word;
        let first = rest.first()?;
        match first.as_str() {
            "crate" => here.clear(),
            "self" => {}
            "super" => {
                here.pop()?;
            }
            _ => {
                return self.named(at, word, depth);
            }
        }
        rest = &rest[1..];
        while rest.first().is_some_and(|s| s == "super") {
            here.pop()?;
            rest = &rest[1..];
        }
        if rest.is_empty() {
            return self.modules.get(&here).map(|m| m.file.clone());
        }
        self.named(&here, rest, depth)
    }

    fn named(&self, here: &[String], rest: &[String], depth: usize) -> Option<String> {
        let module = self.modules.get(here)?;
        let (name, beyond) = rest.split_first()?;
        if module.children.contains(name) {
            let mut child = here.to_vec();
            child.push(name.clone());
            if beyond.is_empty() {
                return self.modules.get(&child).map(|m| m.file.clone());
            }
            if let Some(file) = self.named(&child, beyond, depth + 1) {
                return Some(file);
            }
            return self.modules.get(&child).map(|m| m.file.clone());
        }
        if module.own.contains(name) {
            return Some(module.file.clone());
        }
        if let Some(stands_for) = module.brought.get(name) {
            if stands_for.first() == Some(name) && stands_for.len() == 1 {
                return None;
            }
            let mut whole = stands_for.clone();
            whole.extend_from_slice(beyond);
            return self.written_in(here, &whole, depth + 1);
        }
        module.globs.iter().find_map(|glob| {
            let mut whole = glob.clone();
            whole.extend_from_slice(rest);
            self.written_in(here, &whole, depth + 1)
        })
    }
}

fn read_file(
    modules: &mut BTreeMap<Vec<String>, Module>,
    src: &Path,
    file: &Path,
    path: Vec<String>,
) {
    let text = fs::read_to_string(file).expect("source is UTF-8");
    let parsed = syn::parse_file(&text).unwrap_or_else(|e| panic!("{}: {e}", file.display()));
    let folder = match file.file_name().and_then(|n| n.to_str()) {
        Some("lib.rs" | "main.rs") => file.parent().expect("a folder").to_path_buf(),
        _ => file.with_extension(""),
    };
    let inside = file.strip_prefix(src).unwrap_or(file);
    let inside = inside.display().to_string();
    read_items(modules, src, &folder, &inside, parsed.items, path);
}

fn read_items(
    modules: &mut BTreeMap<Vec<String>, Module>,
    src: &Path,
    folder: &Path,
    file: &str,
    items: Vec<Item>,
    path: Vec<String>,
) {
    let mut module = Module {
        file: file.to_owned(),
        ..Module::default()
    };
    for item in items {
        match item {
            Item::Mod(part) => {
                let name = part.ident.to_string();
                module.children.insert(name.clone());
                let mut below = path.clone();
                below.push(name.clone());
                if let Some((_, items)) = part.content {
                    read_items(modules, src, &folder.join(&name), file, items, below);
                } else {
                    let path = elsewhere(&part.attrs).unwrap_or_else(|| format!("{name}.rs"));
                    read_file(modules, src, &folder.join(path), below);
                }
            }
            Item::Use(ref line) => {
                brought(&line.tree, &mut Vec::new(), &mut module);
                module.items.push(item);
            }
            other => {
                if let Some(name) = name(&other) {
                    module.own.insert(name);
                }
                module.items.push(other);
            }
        }
    }
    modules.insert(path, module);
}

/// What `#[path = "…"]` says.
fn elsewhere(attributes: &[syn::Attribute]) -> Option<String> {
    let said = attributes.iter().find(|a| a.path().is_ident("path"))?;
    let syn::Meta::NameValue(pair) = &said.meta else {
        return None;
    };
    match &pair.value {
        syn::Expr::Lit(syn::ExprLit {
            lit: syn::Lit::Str(text),
            ..
        }) => Some(text.value()),
        _ => None,
    }
}

fn name(item: &Item) -> Option<String> {
    Some(match item {
        Item::Const(i) => i.ident.to_string(),
        Item::Enum(i) => i.ident.to_string(),
        Item::Fn(i) => i.sig.ident.to_string(),
        Item::Static(i) => i.ident.to_string(),
        Item::Struct(i) => i.ident.to_string(),
        Item::Trait(i) => i.ident.to_string(),
        Item::Type(i) => i.ident.to_string(),
        Item::Union(i) => i.ident.to_string(),
        Item::Macro(i) => i.ident.as_ref()?.to_string(),
        _ => return None,
    })
}

fn brought(tree: &UseTree, so_far: &mut Vec<String>, module: &mut Module) {
    match tree {
        UseTree::Path(p) => {
            so_far.push(p.ident.to_string());
            brought(&p.tree, so_far, module);
            so_far.pop();
        }
        UseTree::Name(n) => {
            let mut whole = so_far.clone();
            let name = n.ident.to_string();
            if name == "self" {
                let name = whole.last().cloned().unwrap_or_default();
                module.brought.insert(name, whole);
            } else {
                whole.push(name.clone());
                module.brought.insert(name, whole);
            }
        }
        UseTree::Rename(n) => {
            let mut whole = so_far.clone();
            if n.ident != "self" {
                whole.push(n.ident.to_string());
            }
            module.brought.insert(n.rename.to_string(), whole);
        }
        UseTree::Glob(_) => module.globs.push(so_far.clone()),
        UseTree::Group(g) => {
            for part in &g.items {
                brought(part, so_far, module);
            }
        }
    }
}

/// Every `a::b::c` among `tokens`, also inside macros.
fn paths(tokens: TokenStream, found: &mut Vec<Vec<String>>) {
    let mut path: Vec<String> = Vec::new();
    let mut colons = 0;
    for token in tokens {
        match token {
            TokenTree::Ident(word) => {
                if colons != 2 {
                    keep(&mut path, found);
                }
                path.push(word.to_string());
                colons = 0;
            }
            TokenTree::Punct(mark) if mark.as_char() == ':' && colons < 2 => colons += 1,
            TokenTree::Group(group) => {
                if group
                    .stream()
                    .into_iter()
                    .next()
                    .is_some_and(|t| t.to_string() == "in")
                {
                    keep(&mut path, found);
                    continue;
                }
                keep(&mut path, found);
                colons = 0;
                paths(group.stream(), found);
            }
            _ => {
                keep(&mut path, found);
                colons = 0;
            }
        }
    }
    keep(&mut path, found);
}

fn keep(path: &mut Vec<String>, found: &mut Vec<Vec<String>>) {
    if path.len() > 1 {
        found.push(std::mem::take(path));
    } else {
        path.clear();
    }
}

/// Circles: sets of files each of which leads back to itself.
pub fn circles(uses: &Uses) -> Vec<Vec<String>> {
    let mut next: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for (from, to) in uses.keys() {
        next.entry(from).or_default().push(to);
    }
    let reach = |from: &str| {
        let mut seen = BTreeSet::new();
        let mut left = vec![from.to_owned()];
        while let Some(at) = left.pop() {
            for &to in next.get(at.as_str()).into_iter().flatten() {
                if seen.insert(to.to_owned()) {
                    left.push(to.to_owned());
                }
            }
        }
        seen
    };
    let reached: BTreeMap<String, BTreeSet<String>> =
        next.keys().map(|f| ((*f).to_owned(), reach(f))).collect();
    let mut circles: BTreeSet<Vec<String>> = BTreeSet::new();
    for (file, far) in &reached {
        if far.contains(file) {
            circles.insert(
                far.iter()
                    .filter(|o| reached.get(*o).is_some_and(|back| back.contains(file)))
                    .cloned()
                    .collect(),
            );
        }
    }
    circles.into_iter().collect()
}
