//! The manual: short pages for a player, written once in `manual/` and read by the command line,
//! the man pages and the window.
//!
//! A page is Markdown with headings, paragraphs, lists, tables and `code`; [`ManualPage::plain`] is the
//! same without marks. It owns no words of its own.

/// One page.
#[derive(Debug, Clone, Copy)]
pub struct ManualPage {
    /// What it is asked for by: one word.
    pub name: &'static str,
    /// Its text in Markdown; the first line is its title.
    pub text: &'static str,
}

macro_rules! pages {
    ($($name:literal),*) => {
        [$(ManualPage { name: $name, text: include_str!(concat!("../manual/", $name, ".md")) }),*]
    };
}

/// Every page, in reading order.
pub const PAGES: [ManualPage; 10] = pages!(
    "start", "window", "sheet", "slow", "takes", "guitar", "practice", "files", "trouble",
    "how-good"
);

/// The page of this name.
pub fn page(name: &str) -> Option<ManualPage> {
    PAGES.into_iter().find(|page| page.name == name)
}

impl ManualPage {
    /// Its title.
    pub fn title(self) -> &'static str {
        self.text
            .lines()
            .next()
            .unwrap_or("")
            .trim_start_matches('#')
            .trim()
    }

    /// The paragraphs under a heading of this page, without marks; none where it has no such heading.
    pub fn section(self, heading: &str) -> Vec<String> {
        let lines = self.text.lines();
        let mut under = lines.skip_while(|line| line.trim_start_matches('#').trim() != heading);
        under.next();
        let section = under.take_while(|line| !line.starts_with('#'));
        let told = section.filter(|line| !line.trim().is_empty());
        told.map(unmarked).collect()
    }

    /// The whole page without marks, as a terminal shows it.
    pub fn plain(self) -> String {
        let mut text = String::new();
        for line in self.text.lines().filter(|line| !line.starts_with("|---")) {
            let heading = line.trim_start_matches('#');
            let line = if heading.len() < line.len() {
                heading.trim_start()
            } else {
                line.trim_start_matches("| ")
            };
            let line = line.trim_end_matches('|').replace(" | ", ": ");
            text.push_str(unmarked(&line).trim_end());
            text.push('\n');
        }
        text
    }
}

/// Without the marks of bold and code; a link is its words.
fn unmarked(line: &str) -> String {
    let mut plain = line.replace("**", "").replace('`', "");
    while let Some((before, rest)) = plain.split_once('[')
        && let Some((words, rest)) = rest.split_once("](")
        && let Some((_, after)) = rest.split_once(')')
    {
        plain = format!("{before}{words}{after}");
    }
    plain
}
