//! What of the library is public, as a list that a change must show itself in: `tests/api.txt`, read from the
//! sources. A change of it is accepted with `THUMBLINE_BLESS=1`; what is gone or altered belongs into
//! `CHANGELOG.md`.
//!
//! A line an item: where it is named, and how it is declared, without its body. Methods stand under their
//! type, fields and variants under theirs; what derives give and other traits' impls are left out, and so is what is
//! hidden from the documentation, which is there for this project's own programs, tests and benches alone.

use quote::ToTokens;
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use syn::{Attribute, Fields, ImplItem, Item, TraitItem, Type, UseTree, Visibility};

struct Listing {
    lines: BTreeSet<String>,
}

/// A module's path as it is used: `thumbline::stretch`.
struct Here<'a> {
    path: &'a str,
    folder: &'a Path,
    /// Which feature all of it needs.
    feature: Option<String>,
}

fn hidden(attributes: &[Attribute]) -> bool {
    attributes.iter().any(|a| {
        a.path().is_ident("doc") && a.meta.to_token_stream().to_string().contains("hidden")
    })
}

/// The feature in `#[cfg(feature = "…")]`.
fn feature(attributes: &[Attribute]) -> Option<String> {
    let cfg = attributes.iter().find(|a| a.path().is_ident("cfg"))?;
    let said = cfg.meta.to_token_stream().to_string();
    said.split('"').nth(1).map(str::to_owned)
}

fn public(visibility: &Visibility) -> bool {
    matches!(visibility, Visibility::Public(_))
}

/// Tokens as a person would space them.
fn plain(tokens: &impl ToTokens) -> String {
    let mut text = tokens.to_token_stream().to_string();
    for (from, to) in [
        (" :: ", "::"),
        (":: ", "::"),
        (" ::", "::"),
        (" < ", "<"),
        ("< ", "<"),
        (" >", ">"),
        (" <", "<"),
        (" ,", ","),
        ("& ", "&"),
        (" (", "("),
        ("( ", "("),
        (" )", ")"),
        (" ;", ";"),
        (" :", ":"),
        ("[ ", "["),
        (" ]", "]"),
        ("' ", "'"),
        (" . ", "."),
    ] {
        text = text.replace(from, to);
    }
    text
}

impl Listing {
    fn say(&mut self, here: &Here, line: &str) {
        let needs = here
            .feature
            .as_ref()
            .map_or_else(String::new, |f| format!(" [{f}]"));
        self.lines.insert(format!("{}::{line}{needs}", here.path));
    }

    /// Everything public of the module in `file`; `names` are those that its parent passes on, or none for
    /// all of it.
    fn module(&mut self, file: &Path, here: &Here, names: Option<&BTreeSet<String>>) {
        let text = fs::read_to_string(file).expect("source is UTF-8");
        let items = syn::parse_file(&text).expect("it compiles").items;
        self.items(&items, here, names);
    }

    fn items(&mut self, items: &[Item], here: &Here, names: Option<&BTreeSet<String>>) {
        let mut passed: Vec<(Vec<String>, String)> = Vec::new();
        for item in items {
            if let Item::Use(line) = item
                && public(&line.vis)
            {
                spread(&line.tree, &mut Vec::new(), &mut passed);
            }
        }
        for item in items {
            self.item(item, here, names, &passed);
        }
        // What comes from elsewhere in the crate or from another one.
        for (path, name) in &passed {
            let own = items
                .iter()
                .any(|i| matches!(i, Item::Mod(m) if path.first().is_some_and(|p| m.ident == p)));
            if !own && names.is_none_or(|n| n.contains(name)) {
                self.say(here, &format!("{name} = {}", path.join("::")));
            }
        }
    }

    fn item(
        &mut self,
        item: &Item,
        here: &Here,
        names: Option<&BTreeSet<String>>,
        passed: &[(Vec<String>, String)],
    ) {
        let wanted = |visibility: &Visibility, name: &syn::Ident, attributes: &[Attribute]| {
            public(visibility)
                && !hidden(attributes)
                && names.is_none_or(|n| n.contains(&name.to_string()))
        };
        match item {
            Item::Mod(part) => self.part(part, here, names, passed),
            Item::Fn(one) if wanted(&one.vis, &one.sig.ident, &one.attrs) => {
                self.say(here, &plain(&one.sig));
            }
            Item::Const(one) if wanted(&one.vis, &one.ident, &one.attrs) => {
                self.say(here, &format!("const {}: {}", one.ident, plain(&one.ty)));
            }
            Item::Static(one) if wanted(&one.vis, &one.ident, &one.attrs) => {
                self.say(here, &format!("static {}: {}", one.ident, plain(&one.ty)));
            }
            Item::Type(one) if wanted(&one.vis, &one.ident, &one.attrs) => {
                self.say(here, &format!("type {} = {}", one.ident, plain(&one.ty)));
            }
            Item::Struct(one) if wanted(&one.vis, &one.ident, &one.attrs) => {
                let name = one.ident.to_string();
                let open = non_exhaustive(&one.attrs);
                self.say(
                    here,
                    &format!("{open}struct {name}{}", plain(&one.generics)),
                );
                self.fields(here, &name, &one.fields);
            }
            Item::Enum(one) if wanted(&one.vis, &one.ident, &one.attrs) => {
                let open = non_exhaustive(&one.attrs);
                self.say(here, &format!("{open}enum {}", one.ident));
                for variant in &one.variants {
                    let fields = plain(&bare(&variant.fields));
                    self.say(here, &format!("{}::{}{fields}", one.ident, variant.ident));
                }
            }
            Item::Trait(one) if wanted(&one.vis, &one.ident, &one.attrs) => {
                self.say(here, &format!("trait {}", one.ident));
                for inner in &one.items {
                    if let TraitItem::Fn(method) = inner {
                        self.say(here, &format!("{}::{}", one.ident, plain(&method.sig)));
                    }
                }
            }
            Item::Impl(one) if one.trait_.is_none() => self.methods(one, here, names),
            _ => {}
        }
    }

    fn part(
        &mut self,
        part: &syn::ItemMod,
        here: &Here,
        names: Option<&BTreeSet<String>>,
        passed: &[(Vec<String>, String)],
    ) {
        let name = part.ident.to_string();
        let file = here.folder.join(format!("{name}.rs"));
        let folder = here.folder.join(&name);
        let feature = here.feature.clone().or_else(|| feature(&part.attrs));
        if public(&part.vis) && !hidden(&part.attrs) && names.is_none() {
            let path = format!("{}::{name}", here.path);
            let below = Here {
                path: &path,
                folder: &folder,
                feature: feature.clone(),
            };
            self.module(&file, &below, None);
        }
        // What the parent passes on stands where the parent is.
        let from = passed.iter().filter(|(path, shown)| {
            path.first() == Some(&name)
                && path.len() == 2
                && names.is_none_or(|n| n.contains(shown))
        });
        let taken: BTreeSet<String> = from.map(|(path, _)| path[1].clone()).collect();
        // Methods of types that the parent owns or passes on may stand in any of its files.
        let below = Here {
            path: here.path,
            folder: &folder,
            feature,
        };
        self.module(&file, &below, Some(&taken));
    }

    fn fields(&mut self, here: &Here, name: &str, fields: &Fields) {
        for (i, field) in fields.iter().enumerate().filter(|(_, f)| public(&f.vis)) {
            let field_name = field
                .ident
                .as_ref()
                .map_or_else(|| i.to_string(), ToString::to_string);
            self.say(here, &format!("{name}.{field_name}: {}", plain(&field.ty)));
        }
    }

    fn methods(&mut self, block: &syn::ItemImpl, here: &Here, _names: Option<&BTreeSet<String>>) {
        let Type::Path(of) = &*block.self_ty else {
            return;
        };
        let Some(name) = of.path.segments.last().map(|s| s.ident.to_string()) else {
            return;
        };
        for inner in &block.items {
            match inner {
                ImplItem::Fn(method) if public(&method.vis) && !hidden(&method.attrs) => {
                    self.say(here, &format!("{name}::{}", plain(&method.sig)));
                }
                ImplItem::Const(one) if public(&one.vis) => {
                    self.say(here, &format!("{name}::{}: {}", one.ident, plain(&one.ty)));
                }
                _ => {}
            }
        }
    }
}

fn non_exhaustive(attributes: &[Attribute]) -> &'static str {
    if attributes
        .iter()
        .any(|a| a.path().is_ident("non_exhaustive"))
    {
        "non_exhaustive "
    } else {
        ""
    }
}

/// Fields without their documentation.
fn bare(fields: &Fields) -> Fields {
    let mut fields = fields.clone();
    for field in &mut fields {
        field.attrs.clear();
    }
    fields
}

/// `pub use a::{b, c as d}` as (path, name).
fn spread(tree: &UseTree, so_far: &mut Vec<String>, found: &mut Vec<(Vec<String>, String)>) {
    match tree {
        UseTree::Path(path) => {
            so_far.push(path.ident.to_string());
            spread(&path.tree, so_far, found);
            so_far.pop();
        }
        UseTree::Name(name) => {
            let whole = [so_far.clone(), vec![name.ident.to_string()]].concat();
            found.push((whole, name.ident.to_string()));
        }
        UseTree::Rename(name) => {
            let whole = [so_far.clone(), vec![name.ident.to_string()]].concat();
            found.push((whole, name.rename.to_string()));
        }
        UseTree::Glob(_) => found.push((so_far.clone(), "*".to_owned())),
        UseTree::Group(group) => group
            .items
            .iter()
            .for_each(|part| spread(part, so_far, found)),
    }
}

#[test]
fn what_is_public_is_as_listed() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut listing = Listing {
        lines: BTreeSet::new(),
    };
    let here = Here {
        path: "thumbline",
        folder: &src,
        feature: None,
    };
    listing.module(&src.join("lib.rs"), &here, None);
    let types: BTreeSet<String> = listing
        .lines
        .iter()
        .filter_map(|line| type_of(line))
        .collect();
    // A method of a type that is not public is none of ours.
    let lines = listing
        .lines
        .iter()
        .filter(|line| method_of(line).is_none_or(|owner| types.contains(&owner)));
    let text: String = lines.flat_map(|line| [line.as_str(), "\n"]).collect();
    let listed = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/api.txt");
    if std::env::var_os("THUMBLINE_BLESS").is_some() {
        fs::write(&listed, &text).expect("the list can be written");
    }
    let known = fs::read_to_string(&listed).unwrap_or_default();
    let (known, now): (BTreeSet<&str>, BTreeSet<&str>) =
        (known.lines().collect(), text.lines().collect());
    let gone: Vec<_> = known.difference(&now).collect();
    let new: Vec<_> = now.difference(&known).collect();
    assert!(
        now.len() > 300,
        "the reader of public items found only {}",
        now.len()
    );
    assert!(
        gone.is_empty() && new.is_empty(),
        "what is public has changed (THUMBLINE_BLESS=1 accepts it)\ngone: {gone:#?}\nnew: {new:#?}"
    );
}

/// The type that a line declares, with the module it stands in.
fn type_of(line: &str) -> Option<String> {
    let (module, item) = split(line)?;
    let item = item.trim_start_matches("non_exhaustive ");
    let name = ["struct ", "enum ", "trait ", "type "]
        .iter()
        .find_map(|kind| item.strip_prefix(kind))?;
    let name: String = name
        .chars()
        .take_while(|c| c.is_alphanumeric() || *c == '_')
        .collect();
    Some(format!("{module}::{name}"))
}

/// The type whose method or variant a line is, with the module it stands in.
fn method_of(line: &str) -> Option<String> {
    let (module, item) = split(line)?;
    let owner: String = item
        .chars()
        .take_while(|c| c.is_alphanumeric() || *c == '_')
        .collect();
    let after = &item[owner.len()..];
    (after.starts_with("::") || after.starts_with('.')).then(|| format!("{module}::{owner}"))
}

/// Module and item: modules are in small letters.
fn split(line: &str) -> Option<(&str, &str)> {
    let mut end = 0;
    let mut rest = line;
    while let Some((segment, after)) = rest.split_once("::") {
        let module = segment
            .chars()
            .all(|c| c.is_lowercase() || c.is_numeric() || c == '_');
        if !module {
            break;
        }
        end += segment.len() + 2;
        rest = after;
    }
    (end > 0).then(|| (&line[..end - 2], &line[end..]))
}

/// The example at the crate's root, word for word: documentation is not compiled in tests.
#[test]
fn the_example_at_the_root_runs() -> Result<(), Box<dyn std::error::Error>> {
    use thumbline::analysis::{Options, analyze};
    use thumbline::timing::{self, Reference};

    let tune = thumbline::demo::recording(48_000)?;
    let found = analyze(&tune.recording, &Options::default(), &mut ())?;
    let drift = timing::of(&found, Reference::OwnTempo);
    let (heard, sure) = (found.notes.len(), drift.notes.iter().flatten().count());
    println!("{heard} notes, {sure} of them on a beat that is sure");
    assert!(10 * sure > 9 * heard, "{sure} of {heard}");

    let (root, here) = (include_str!("../src/lib.rs"), include_str!("api.rs"));
    let example = root.split("```").nth(1).expect("an example");
    let lines = example
        .lines()
        .skip(1)
        .map(|line| line.trim_start_matches("//!").trim());
    let lines: Vec<&str> = lines
        .filter(|line| !line.is_empty() && !line.starts_with('#'))
        .collect();
    assert!(lines.len() > 4, "{lines:?}");
    for line in lines {
        assert!(here.contains(line), "not run: {line}");
    }
    Ok(())
}
