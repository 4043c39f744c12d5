//! The 44 numbers of the invented production "The Paper Comet", in running order.

/// Age band of a class: its label in the workbook, and the share of children in it (an assumption, no source).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AgeGroup {
    /// Label, such as `5-6`.
    pub ages: &'static str,
    /// Share of children in hundredths.
    pub share: usize,
    /// Mean length of its numbers in seconds.
    pub mean_seconds: f64,
    /// Children in one number at most.
    pub cap: usize,
}

/// Bands from youngest to oldest.
pub const BANDS: &[AgeGroup] = &[
    AgeGroup { ages: "3-4", share: 12, mean_seconds: 110.0, cap: 10 },
    AgeGroup { ages: "5-6", share: 20, mean_seconds: 122.0, cap: 12 },
    AgeGroup { ages: "7-8", share: 21, mean_seconds: 125.0, cap: 12 },
    AgeGroup { ages: "9-11", share: 25, mean_seconds: 127.0, cap: 12 },
    AgeGroup { ages: "12-14", share: 14, mean_seconds: 132.0, cap: 12 },
    AgeGroup { ages: "15-17", share: 8, mean_seconds: 135.0, cap: 12 },
];

/// Who dances a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dancers {
    /// Children of one band, by position in [`BANDS`].
    Band(usize),
    /// A production number: 40 to 60 children of several bands.
    Production,
    /// Everybody.
    All,
}

/// One number as planned.
#[derive(Debug)]
pub struct NumberPlan {
    /// Title.
    pub name: &'static str,
    /// Who dances it.
    pub dancers: Dancers,
    /// Class name.
    pub class: &'static str,
    /// Costume pieces, with `;` between them.
    pub pieces: &'static str,
    /// Teacher.
    pub teacher: &'static str,
}

/// Numbers before the interval.
pub const FIRST_ACT: usize = 22;
/// Position (from 0) of the finale.
pub const FINALE: usize = 43;
/// Positions (from 0) of the two production numbers.
pub const PRODUCTIONS: [usize; 2] = [9, 33];

const fn plan(
    name: &'static str,
    dancers: Dancers,
    class: &'static str,
    pieces: &'static str,
    teacher: &'static str,
) -> NumberPlan {
    NumberPlan { name, dancers, class, pieces, teacher }
}

const A: Dancers = Dancers::Band(0);
const B: Dancers = Dancers::Band(1);
const C: Dancers = Dancers::Band(2);
const D: Dancers = Dancers::Band(3);
const E: Dancers = Dancers::Band(4);
const F: Dancers = Dancers::Band(5);
const QUILL: &str = "Ms Quillfeather";
const MARSH: &str = "Mr Marshbank";
const TELL: &str = "Madame Tellier-Bright";
const ODUYA: &str = "Miss Oduya-Finch";

/// All numbers, in running order. The bands are spread so that a class rarely dances twice within three numbers.
pub const PLANS: &[NumberPlan] = &[
    plan("Folding the First Sheet", D, "Modern 3", "white smock; paper collar; black leggings", MARSH),
    plan("Tiny Scissors", A, "First Steps Red", "silver tunic; soft shoes", QUILL),
    plan("Ink Spill", C, "Ballet 2", "navy leotard; net skirt; blue gloves", TELL),
    plan("The Night Post", E, "Modern 5", "postal jacket; cap; grey trousers", MARSH),
    plan("Blotting Paper", B, "Ballet 1", "pink leotard; paper wings", TELL),
    plan("Rooftop Weather", D, "Tap 3", "raincoat; tap shoes; red umbrella", ODUYA),
    plan("Chimney Swifts", C, "Modern 2", "brown tunic; feather cuffs", MARSH),
    plan("Candle Stubs", A, "First Steps Blue", "yellow tunic; flame hat", QUILL),
    plan("Six Small Kites", B, "Modern 1", "striped jersey; ribbon tail; white socks", MARSH),
    plan("Market Morning", Dancers::Production, "Mixed company", "apron; headscarf; basket", ODUYA),
    plan("Weights and Measures", D, "Ballet 3", "green bodice; long skirt", TELL),
    plan("Clothes Line", C, "Tap 2", "checked shirt; braces; tap shoes", ODUYA),
    plan("Buttons", A, "First Steps Green", "round tabard; soft shoes", QUILL),
    plan("The Lamplit Stair", E, "Ballet 5", "plum dress; pointe shoes; hair comb", TELL),
    plan("Puddle Map", B, "Tap 1", "yellow cape; tap shoes", ODUYA),
    plan("Letters Home", D, "Modern 4", "cream shirt; satchel; brown shorts", MARSH),
    plan("Sparrow Parliament", C, "Ballet 2 Saturday", "brown leotard; tail skirt", TELL),
    plan("What the Astronomer Saw", F, "Senior Ballet", "midnight dress; pointe shoes", TELL),
    plan("Marbles", B, "Ballet 1 Saturday", "swirl tunic; white tights", QUILL),
    plan("Clockwork Ferry", D, "Tap 4", "sailor top; tap shoes; white trousers", ODUYA),
    plan("Moth Lanterns", C, "Modern 2 Saturday", "dusty wings; grey leotard", MARSH),
    plan("A Tail of Fire", E, "Modern 6", "orange unitard; ribbon sash", MARSH),
    plan("Paper Boats", C, "Ballet 2 Monday", "white dress; paper hat", TELL),
    plan("Under the Viaduct", D, "Street 1", "hooded top; black joggers; white trainers", ODUYA),
    plan("Snow on the Tramlines", B, "Ballet 1 Monday", "white leotard; mittens", QUILL),
    plan("Mittens on a String", A, "First Steps Gold", "woolly tunic; mittens", QUILL),
    plan("The Glassblower", E, "Contemporary 1", "amber vest; wide trousers", MARSH),
    plan("Hedgehog Commute", C, "Tap 2 Saturday", "spiky waistcoat; tap shoes", ODUYA),
    plan("Tin Roof Rain", D, "Tap 3 Saturday", "silver waistcoat; tap shoes", ODUYA),
    plan("Beetle Band", B, "Modern 1 Saturday", "green tabard; antennae", QUILL),
    plan("Gravity", F, "Senior Contemporary", "grey vest; bare feet", MARSH),
    plan("Copper Coins", D, "Ballet 3 Saturday", "copper bodice; tutu", TELL),
    plan("Fog Horns", C, "Street 2", "oilskin; sou'wester; boots", ODUYA),
    plan(
        "The Harbour Fair",
        Dancers::Production,
        "Mixed company",
        "waistcoat; neckerchief; straw hat",
        MARSH,
    ),
    plan("Pebbles", A, "First Steps White", "grey tunic; soft shoes", QUILL),
    plan("Rock Pool", B, "Tap 1 Saturday", "shell cap; blue tunic; tap shoes", ODUYA),
    plan("The Long Swim", D, "Modern 3 Saturday", "striped costume; bathing cap", MARSH),
    plan("Salt and Vinegar", C, "Modern 2 Monday", "paper cone hat; white shirt", MARSH),
    plan("Seven Sleepy Gulls", B, "Ballet 1 Tuesday", "white wings; orange socks", QUILL),
    plan("Telegraph Hill", D, "Street 3", "bomber jacket; black jeans", ODUYA),
    plan("Orbit", E, "Contemporary 2", "silver vest; black leggings", MARSH),
    plan("Perihelion", F, "Senior Modern", "gold unitard; ribbon sash", MARSH),
    plan("Ash and Glitter", E, "Ballet 6", "charcoal dress; pointe shoes", TELL),
    plan("The Paper Comet Comes Home", Dancers::All, "Everyone", "own costume; paper star", QUILL),
];
