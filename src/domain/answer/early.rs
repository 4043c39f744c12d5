//! Whether somebody asks for a child to leave before it is dismissed: then the rule of that event is told at once, and a
//! person gets the question all the same. Wrongly seen, it costs one polite text; missed, a person still answers.
//!
//! Phrasings are common practice, no source: tests/vectors/early_release.tsv has half of them asking and half innocent.

use super::clauses;
use jiff::civil::Time;
use regex::{Regex, RegexSet};
use std::sync::LazyLock;

/// Leaving or being fetched, with "early" or a moment before the end; words are folded.
const ASKS: &[&str] = &[
    r"\b(leave|leaves|leaving|go|release[d]?|let .* go|pick .* up|collect|fetch|take) (a (bit|little) )?(early|earlier)\b",
    // English: who leaves, and when
    r"\b(leav(e|es|ing)|go(es|ing)?|goin|head(ing)?|slip(ping)?|get(ting)? (away|off|out)|(come|coming|be) out|nip(ping)?|duck(ing)?|sneak(ing)?|dash(ing)?|scoot(ing)?|pop(ping)? out|let (go|out)|released?|releasing|dismissed|excused|off|out)\b.*\b(early|earlier|b4 (the )?end|before (the )?(end|finale|finish|last|final|bows?|curtain|rest|others|everyone|second half|2nd half)|before (it|the show|it s|its|she s|he s) (is )?(end|finish|over|done)\w*|half ?way|at (the )?(interval|half ?time|break)|in the interval|after (the )?(first half|1st half|act one|interval)|sooner|(an?|half an?|\d+|ten|twenty|fifteen|thirty) ?(h|hr|hour|hours|m|min|mins|minutes)? (early|before))\b",
    r"\b(leav(e|es|ing)|go(es|ing)?|let .* (go|out|home)|home|head off|(slip|duck|nip|sneak|dash|pop|scoot)\w* (out|off))\b.*\b(straight|right|just|as soon as|once|directly|immediately) ?(after)? ?(her|his|their|she|he|they|my|the)\b.*\b(number|dance|bit|piece|part|song|scene|last|done|finished|danced|been on|slot|turn)\b",
    r"\b(pick(ing)?( \w+){0,3} up|pick ?up|collect(ing|ed)?|fetch(ing|ed)?|grab(b?ing|bed)?|get(ting)? (her|him|them|my)|tak(e|ing)( \w+){0,4}|hav(e|ing) (her|him|them) (out|back)|nab|whisk)\b.*\b(early|earlier|b4 (the )?end|before (the )?(end|finale|finish|last|final|bows?|curtain|dismissal|rest|others|everyone|second half|2nd half|time)|before (it|the show|it s|its|she s|he s) (is )?(end|finish|over|done)\w*|half ?way|at (the )?(interval|half ?time|break)|in the interval|during the interval|after (the )?(first half|1st half|act one)|sooner|(half an? hour|an? hour|\d+ ?(m|min|mins|minutes)|ten minutes|twenty minutes) before)\b",
    r"\b(pick(ing)?( \w+){0,3} up|pick ?up|collect(ing|ed)?|fetch(ing|ed)?|grab(b?ing|bed)?|get(ting)? (her|him|them|my)|tak(e|ing)( \w+){0,4} (home|out|away))\b.*\b(straight|right|just|as soon as|once|directly|immediately) ?(after)? ?(her|his|their|she|he|they|my|the)\b.*\b(number|dance|bit|piece|part|song|scene|last|done|finished|danced|been on|slot|turn)\b",
    r"\b(not|n t|wont|won t|cant|can t|cannot|can not|doesn t|dont|don t|isn t|unable to|without|no need to|instead of) (be )?(able to )?(need to |have to )?(stay|stays|staying|wait|waiting|hang|hanging|do|doing)( \w+){0,4} (the |very )?(end|finale|bows?|curtain call|last number|whole (thing|show)|second half|2nd half)\b",
    r"\b(miss|misses|missing|skip|skips|skipping|leave out) (out )?(on )?(the )?(finale|end|ending|bows?|curtain call|last number|second half|2nd half)\b",
    r"\b(early (release|dismissal|pick ?up|pick up|collection|finish|exit|departure|leave)|release (her|him|them)|sign (her|him|them) out (early|at|before))\b",
    r"\b(only|just) (stay|stays|staying|here|there)\b.*\b(until|till|til|to|for)\b.*\b(interval|half|her|his|their|first)\b",
    r"\b(do|does|must|has to|have to|need to|needs to)\b.*\b(stay|wait)\b.*\b(whole|right (to|till|until|through)|until the (very )?end|till the (very )?end|to the (very )?end)\b",
    r"\b(be|get|has to|have to|needs? to|must|got to|gotta)( \w+){0,3} (out|away|off|gone|on the road) (by|before|at|around|no later)\b",
    r"\b(only|just)( \w+){0,3} (until|till|til|to|up to) (\d|(half|quarter) |the (interval|intermission|half|break))",
    r"\b(pick(ing)?( \w+){0,3} up|collect(ing|ed)?|fetch(ing|ed)?|grab(b?ing|bed)?|get(ting)? (her|him|them|my)|tak(e|ing)( \w+){0,3} (home|out|away)|leave|leaving|go|going|get off|get(ting)? away|released?|let .* (go|out))\b.*\b(intermission|interval|act (one|1)|first act|once (the|her|his|their|she|he|they)|after (the|her|his|their|that|she|he|they|act)|(\d+|ten|fifteen|twenty|thirty|half an) ?(m|min|mins|minutes|hour|hr) (b4|before)|b4)\b",
    r"\b(his|her|their) (piece|number|dance|bit|part) (is|s) (in|on) (act|the first|first)\b.*",
    r"\b(slip|duck|nip|sneak|dash|scoot)\w* (out|off)\b( \w+){0,4} (early|before|after|at|around|about|by|halfway)\b",
    // Spanish: accents removed
    r"\b(marchar(se)?|irse|ir|salir|salga|vaya)\b.*\b(en cuanto|nada mas|apenas|tan pronto)\b",
    r"\b(se|nos|me) (tiene|tienen|tenemos|tengo) que (ir|salir|marchar)\b.*\b(a|sobre|como|hacia|antes)\b",
    r"\b(tiene|tienen|tenemos|tengo) que (irse|irnos|salirse|marcharse|salir|marcharnos)\b.*\b(a las?|sobre|como a|hacia|antes)\b",
    r"\b(estar|este|esten|salir|salga|salgan|irse|irnos|libre)\b( \w+){0,2} (fuera|libre|lista|listo)?\b.*\b(a las? \d.*\b(como (mucho|muy tarde|maximo)|maximo)|antes de las? \d)",
    r"\b(dej(ad|en|ar|a|e)|podeis dejar|pueden dejar)\b( \w+){0,2} (salir|ir|irse|marchar)\b",
    r"\b(solo|nomas|unicamente)\b.*\bhasta (las?|el|la) \w+\b.*",
    r"\b(llev(o|ar|arme|armela|armelo|armel\w*|arla|arlo|amos|arnos)\w*|recog\w+|recojo|sacar\w*|ir(se|nos)|pas(o|ar) (por|x|a por))\b.*\b((despues|justo despues|al acabar|al terminar) (de|del|de la|de los|de las|su|primer)|primer acto|(un ratito|un rato|un poco|un poquito|\d+ ?(min|minutos)|media hora|una hora) antes)\b",
    r"\b(no (saliera|salga|haga|este|estuviera|pueda estar)|sin (salir|estar|hacer)) (en |a )?(el|la|los)? ?(saludo|saludos|final|gran final|fin de fiesta)\b",
    r"\b(salir|salga|salgan|salimos|sale|saldra|salirse|irse|irnos|irme|vaya|vayan|va|ir|marcharse|marche|marcharnos|retirarse|retire|soltar(la|lo)?|soltais|dejar(la|lo)? (salir|ir)|deje(n|is)? (salir|ir)|dejan (salir|ir))\b.*\b(antes|temprano|prontito|mas pronto|en el (descanso|intermedio|entreacto)|al (descanso|intermedio|entreacto)|a (la )?mitad|a medias|(nada mas|en cuanto|cuando|apenas|despues de|justo|justo despues de)\b.*\b(acab\w*|termin\w*|baile|numero|actuacion|parte|salga))\b",
    r"\b(recog\w+|recojo|recoja|buscar(la|lo|los|las)?|busco|paso (por|a por|a)|pasar (por|a por|a)|llev(o|ar|arme|armela|armelo|arla|arlo|amos|arnos|aremos)\w*|retirar(la|lo|los)?|retiro|sac(ar|arla|arlo|o))\b.*\b(antes|temprano|mas pronto|en el (descanso|intermedio|entreacto)|al (descanso|intermedio|entreacto)|a (la )?mitad|(nada mas|en cuanto|apenas|despues de su|justo despues|cuando acabe su|cuando termine su)\b)",
    r"\bno\b.*\b(qued\w+|esper\w+|aguant\w+|estar\w*)\b.*\b(hasta el final|hasta la final|para el final|al (gran )?final|final final|hasta que (acabe|termine)|saludos?)\b",
    r"\b(perder(se)?|pierde|saltar(se)?|salta) (el|la)? ?(final|fin|saludo|segunda parte)\b",
    r"\b(salida|recogida) (anticipada|temprana|antes)\b",
    r"\b(solo|nomas|unicamente)\b.*\b(hasta el (descanso|intermedio|entreacto)|la primera (parte|mitad))\b",
    r"\b(tiene|tienen|hace falta|es necesario|debe)\b.*\b(quedar(se)?|quede|esper\w+)\b.*\b(hasta el final|todo el)\b",
];

/// What looks like it and is something else; words are folded.
const INNOCENT: &[&str] = &[
    r"\b(arriv\w+|drop\w*|get(ting)? there|be there|come|coming|came|turn(ing)? up|bring\w*|check(ing)? in|open\w*|doors?)\b.*\b(early|earlier)\b",
    r"\b(early|earlier) (to|for) (drop|arriv|bring|check)\w*",
    r"\b(collect|pick up|fetch|get|take|return|leave|buy|hand in|find)\b.*\b(costume|costumes|shoes|tickets?|programme|bag|coat|jumper|bottle|uniform|photos?|headdress|tights|hat|wig)\b",
    r"\b(she|he|they|i|we) (left|forgot|lost)\b",
    r"\b(llegar|llegamos|llego|llegue\w*|dej(ar|o|amos|arla|arlo) (a|en|la|lo)|traer\w*|traigo|venir|venimos|entrar)\b.*\b(antes|temprano|pronto)\b",
    r"\b(recoger|retirar|buscar|devolver|entregar|comprar)\b.*\b(disfraz|disfraces|vestuario|zapat\w+|entradas?|mochila|abrigo|chaqueta|fotos?|traje|botella)\b",
    r"\b(a que hora|que hora|cuando)\b.*\b(sale|salen|salir|termina|acaba|recog\w+)\b",
    r"\b(what time|when|which time)\b.*\b(finish|end|ends|over|collect|pick|come out|leave|dismiss\w*)\b",
    r"\b(no need to|no longer need|don t need to|dont need to|not need to|after all)\b.*\b(early|earlier|before)\b",
    r"\b(early|earlier)\b.*\b(after all|cancelled|canceled|no longer|not any ?more)\b",
    r"\b(ya no|no hace falta|no es necesario)\b.*\b(antes|temprano|pronto)\b",
    r"\b(quien|puede) (puede )?(recoger\w*|ir|pasar)( \w+)? por\b.*\b(cuando|al) (acab|termin)\w*",
    r"\bsalir de casa\b",
    r"\b(wouldn t|won t|wont|will not|would not|not going to|never) miss\b",
    r"\b(stay|stays|staying)( \w+){0,2} (to|till|til|until) the (very )?end\b.*\b(no problem|of course|as always|fine)\b",
    r"\b(not|never|won t|wont|don t|dont|no need to) (be )?(leav\w+|collect\w*|pick\w*|tak\w+).*\b(early|before)\b",
];

/// A time at which somebody means to fetch, beside the time that was told: "I know it ends at 8:30, can I come at 8".
const OTHER_TIME: &[&str] = &[
    r"\b(i know|although|even though|instead of|rather than|not|says?|otherwise)\b.*\b(dismiss\w*|pick ?up|collect\w*|end\w*|finish\w*|over|\d)\b.*\b(but|can|could|ok|may|possible|instead)\b.*\b(grab|get|fetch|collect|pick|take|come for|have)\b.*\b(at|by|around|about) \d",
    r"\b(grab|get|fetch|collect|pick|take|have)\b.*\b(at|by|around|about) \d.*\b(instead of|rather than|otherwise|not)\b",
    r"\b(recog\w+|buscar\w*|llevar\w*|pasar por|paso por)\b.*\b(a las|sobre las|hacia las) \d.*\b(en vez de|en lugar de)\b",
    r"\b(se que|aunque|en vez de|en lugar de)\b.*\d.*\b(recog\w+|buscar\w*|llevar\w*|paso por|pasar por)\b.*\b(a las|sobre las|hacia las) \d",
];

/// Leaving, fetching or being sent out, beside a time of day.
const GOES: &str = r"\b(leav(e|es|ing)|go|goes|going|out|off|away|pick\w*|collect\w*|fetch\w*|grab\w*|get|getting|take|taking|have|send\w*|release\w*|finish|until|till|til|only|ir|irse|irnos|va|vaya|sale|salir|salirnos|salga|salgan|libre|march\w+|recog\w+|recojo|retir\w+|sacar\w*|saco|llev\w+|mand\w+|busc\w+|paso|pasar|hasta|fuera)\b";
/// A time of day in figures, after a word that makes it one.
const TIME: &str = r"\b(at|by|around|about|until|till|til|for|from|before|a las|a la|sobre las|hacia las|como a las|hasta las|antes de las) (\d{1,2})( (\d{2}))?( ?(am|pm|h))?\b";
/// What such a time is about where it is no leaving; words are folded.
const ARRIVES: &str = r"\b(late|outside|gets? (back|to)|getting (back|to)|stays? (until|till|til)|staying|the house|there|tarde|llega\w*|llego|queda\w*|de casa|fuera esperando)\b";
/// Hours on a clock face.
const FACE: i8 = 12;

static GOING: LazyLock<Option<Regex>> = LazyLock::new(|| Regex::new(GOES).ok());
static ARRIVING: LazyLock<Option<Regex>> = LazyLock::new(|| Regex::new(ARRIVES).ok());
static TIMES: LazyLock<Option<Regex>> = LazyLock::new(|| Regex::new(TIME).ok());

/// Whether words say that somebody leaves or is fetched at a time between a call and the pick-up.
pub fn asks_before(words: &str, call: Time, pick_up: Time) -> bool {
    let (Some(going), Some(arriving), Some(times)) = (&*GOING, &*ARRIVING, &*TIMES) else { return false };
    let whole = super::fold(words);
    let innocent = clauses(words).iter().all(|clause| !going.is_match(clause) || INNOCENTLY.is_match(clause));
    if innocent || INNOCENTLY.is_match(&whole) || arriving.is_match(&whole) {
        return false;
    }
    let minute = |at: Time| i32::from(at.hour()) * 60 + i32::from(at.minute());
    let between = |at: i32| minute(call) < at && at < minute(pick_up);
    times.captures_iter(&whole).any(|found| {
        let part = |nth| found.get(nth).and_then(|text| text.as_str().parse::<i32>().ok());
        let (Some(hour), minutes) = (part(2), part(4).unwrap_or(0)) else { return false };
        let at = hour * 60 + minutes;
        // People leave out which half of the day they mean.
        hour <= 23
            && minutes < 60
            && (between(at) || hour < i32::from(FACE) && between(at + 60 * i32::from(FACE)))
    })
}

fn set(list: &[&str]) -> RegexSet {
    // A test holds that every pattern can be read.
    RegexSet::new(list).unwrap_or_else(|_| RegexSet::empty())
}

static ASKING: LazyLock<RegexSet> = LazyLock::new(|| set(ASKS));
static INNOCENTLY: LazyLock<RegexSet> = LazyLock::new(|| set(INNOCENT));
static OTHERWISE: LazyLock<RegexSet> = LazyLock::new(|| set(OTHER_TIME));

/// Whether words ask that a child leaves before it is dismissed.
pub fn asks_early_release(words: &str) -> bool {
    let whole = super::fold(words);
    OTHERWISE.is_match(&whole)
        || clauses(words).iter().any(|clause| ASKING.is_match(clause) && !INNOCENTLY.is_match(clause))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_pattern_can_be_read() {
        for (list, set) in [(ASKS, &ASKING), (INNOCENT, &INNOCENTLY), (OTHER_TIME, &OTHERWISE)] {
            assert_eq!(set.len(), list.len());
        }
        assert!(GOING.is_some() && ARRIVING.is_some() && TIMES.is_some());
    }
}
