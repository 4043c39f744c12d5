//! Just enough reading of HTML to hold a page to its promises.

/// A start or end tag.
pub struct Tag {
    /// Element name.
    pub name: String,
    /// Start tag.
    pub opens: bool,
    /// Closed in itself, as SVG shapes are.
    pub closed: bool,
    /// Attributes in order.
    pub attributes: Vec<(String, String)>,
}

impl Tag {
    pub fn get(&self, name: &str) -> Option<&str> {
        self.attributes.iter().find(|(n, _)| n == name).map(|(_, v)| v.as_str())
    }
}

const VOID: [&str; 5] = ["br", "input", "link", "meta", "hr"];

/// Every tag in order. Values must be quoted with `"`, as the templates do.
pub fn tags(html: &str) -> Vec<Tag> {
    let mut tags = Vec::new();
    let mut rest = html;
    while let Some(at) = rest.find('<') {
        rest = &rest[at + 1..];
        if rest.starts_with('!') {
            continue;
        }
        let opens = !rest.starts_with('/');
        rest = rest.trim_start_matches('/');
        let end = rest.find(|c: char| !c.is_ascii_alphanumeric()).unwrap();
        let name = rest[..end].to_owned();
        assert!(!name.is_empty(), "a bare < in text near {:?}", rest.chars().take(40).collect::<String>());
        rest = &rest[end..];
        let mut attributes = Vec::new();
        loop {
            rest = rest.trim_start();
            if let Some(after) = rest.strip_prefix("/>") {
                tags.push(Tag { name, opens, closed: true, attributes });
                rest = after;
                break;
            }
            if let Some(after) = rest.strip_prefix('>') {
                tags.push(Tag { name, opens, closed: false, attributes });
                rest = after;
                break;
            }
            let end = rest.find(['=', '>', ' ', '\n']).unwrap();
            let attribute = rest[..end].to_owned();
            rest = &rest[end..];
            let mut value = String::new();
            if let Some(after) = rest.strip_prefix("=\"") {
                let end = after.find('"').unwrap();
                value = after[..end].to_owned();
                rest = &after[end + 1..];
            }
            attributes.push((attribute, value));
        }
    }
    tags
}

/// Start tags of that name.
pub fn all<'a>(tags: &'a [Tag], name: &str) -> Vec<&'a Tag> {
    tags.iter().filter(|tag| tag.opens && tag.name == name).collect()
}

/// Every element that opens is closed in its place.
pub fn assert_balanced(page: &str, tags: &[Tag]) {
    let mut open: Vec<&str> = Vec::new();
    for tag in tags {
        if tag.closed || VOID.contains(&tag.name.as_str()) {
            continue;
        }
        if tag.opens {
            open.push(&tag.name);
        } else {
            assert_eq!(open.pop(), Some(tag.name.as_str()), "{page}: inside {open:?}");
        }
    }
    assert!(open.is_empty(), "{page}: left open {open:?}");
}

/// The text of the first element of that name, without tags.
pub fn text_of(html: &str, name: &str) -> String {
    let Some(from) = html.find(&format!("<{name}")) else {
        return String::new();
    };
    let inner = &html[from..];
    let inner = &inner[..inner.find(&format!("</{name}>")).unwrap()];
    let mut text = String::new();
    let mut inside = false;
    for c in inner.chars() {
        match c {
            '<' => inside = true,
            '>' => inside = false,
            c if !inside => text.push(c),
            _ => {}
        }
    }
    text.trim().to_owned()
}
