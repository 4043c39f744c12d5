//! Whether somebody asks in plain words for no more messages: any reasonable means counts (47 CFR 64.1200(a)(10)).
//!
//! A word inside a sentence still decides nothing: what counts is a clause that says who is to stop doing what.
//! Phrasings are common practice, no source: tests/vectors/stop_words.tsv has half of them stopping and half innocent.

use super::phrases::{AFTER, BEFORE, STOP};
use super::{clauses, fold, without_courtesy};
use regex::RegexSet;
use std::sync::LazyLock;

/// A clause that asks for it.
const ASKS: &[&str] = &[
    r"\b(stop|quit|cease|end|halt)\b( (all|please|pls|with|the|these|those|this|any|just|of))* (sending|texting|txting|messaging|msging|emailing|e mailing|mailing|contacting|writing|bothering|notifying|spamming|bombarding|texts?|txts?|messages?|msgs?|emails?|e mails|mails?|reminders|notifications|alerts|updates)\b",
    r"\b(don t|dont|do not|never)( ever)? (text|txt|message|msg|email|e mail|mail|contact|write to|notify|bother) (me|us|this number|this address|here)( (again|any ?more|ever|please|pls|at all|on this number))*$",
    r"\b(don t|dont|do not|no longer)( really)? (want|need|wish|like)( to (get|receive|have|see|be sent))?( (any|more|these|those|the|your|all|of|this|further))* (texts?|txts?|messages?|msgs?|emails?|e mails|mails?|reminders|notifications|alerts|updates)\b",
    r"\bno (more|further)( (of|these|those|the|your|any|bloody|damn))* (texts?|txts?|messages?|msgs?|emails?|e mails|mails?|reminders|notifications|alerts|updates)\b",
    r"\b(take|get|remove|delete|drop|cut) (me|us|off|my \w+|our \w+|this \w+)( \w+){0,3} ?(off|from|out of)?\b( \w+){0,4} (lists?|mailing|system|database|texts?|messages?|emails?|reminders|group|this)\b",
    r"\b(remove|delete) (me|us|my (number|email|e mail|address|details)|this number|our number)\b",
    r"\b(text|message|email|e mail|contact|write to)\b( \w+){1,6} (and|but) not me\b",
    r"\b(unsubscribe|unsubscibe|unsubscribing|opt(ing)? (me |us )?out)\b",
    r"\b(leave (me|us) alone|enough (with (the|these|your|all) )?(texts|messages|emails|already|of (this|these)))\b",
    // Spanish, accents removed: what is told to do, not what somebody did
    r"\bno vuelv(a|an|as|ais) a (escrib|mand|envi|contact|molest)\w+\b",
    r"\ba (mi|nosotros) ya no$",
    r"\b(ya estuvo|basta|suficiente)\b( \w+){0,3} (mensajes?|sms|correos?|avisos?)\b",
    r"^(par(en|ad|e)|basta|dej(en|ad)lo) ya$",
    r"\b(no|ni)( ya)? (me|nos) (mande|mandes|manden|mandeis|envie|envies|envien|envieis|escriba|escribas|escriban|escribais|contacte|contactes|contacten|moleste|molestes|molesten|lleguen|pongan)\b( (mas|ya|nada|ningun|ninguno|ninguna|tantos|estos|sus|esos|otro|otros|los|por favor|al (movil|celular|telefono)))*( (mensajes?|mensajitos|sms|correos?|avisos?|textos?|recordatorios|notificaciones|whats?apps?|cosas|aqui))?( (mas|ya|por favor|a este (numero|correo|telefono)))*$",
    r"\b(dejen|dejad|deja|deje|dejar|paren|parad|para|pare|cesen)( ya)? de (mand|envi|escrib|contact|molest)\w+(me|nos)?\b( (mas|ya|tantos|estos|esos|los|cosas|mensajes?|mensajitos|sms|correos?|avisos?|textos?|por favor|a este numero))*$",
    r"\b(dejen|dejad|deja|deje|paren|parad|pare) de avisar(me|nos)\b",
    r"\b(quiero|quisiera|queremos|deseo|deseamos|solicito|me gustaria|pido|quero)\b.*\b(dar(me|nos) de baja|no recibir|dejar de recibir|que (me|nos) (quiten|borren|den de baja|saquen))\b",
    r"\b(me|nos) (pod\w+|pued\w+) (dar de baja|(quitar|borrar|sacar|eliminar) de (la|su|esta|vuestra|esa) (lista|base))\b",
    r"\b(darme|darnos|dame|deme|denme|dennos|denos|causar|tramiten(me|nos)) (de|la) ?(de )?baja\b",
    r"\b(quit|borr|saqu|sac|elimin)(en|e|a|ad|ar)(me|nos)\b( \w+){0,3} (de (la|su|esta|vuestra|esa) (lista|base))\b",
    r"\b(quiten|quita|quite|borren|borra|borre|borrar|eliminen|elimina|elimine|saquen|saca|saque)\b( (ya|por favor))* (mi (numero|correo|telefono|movil|celular)|este (numero|correo|telefono))\b",
    r"\b(cancel(en|e|a|ar)|anul(en|e|a|ar)) (la |mi |esta )?(suscripcion|los mensajes|los avisos|estos mensajes|estos avisos)\b",
    r"\b(ya )?no (quiero|queremos|kiero|qiero|deseo|deseamos)( (recibir|resibir|mas|estos|esos|ningun|los|sus|nada|de|tantos))* (mensajes?|mensajitos|msjs?|sms|correos?|avisos?|textos?|recordatorios|notificaciones)\b",
    r"^(elimin|borr|quit|saqu)(en|e|a|ad)(me|nos)( por favor)?$",
    r"^(no|ni un) (mas|ningun)( \w+){0,2} (mensajes?|sms|correos?|avisos?|textos?|recordatorios|notificaciones)\b",
    r"\b(basta|stop|alto|ya basta)( ya)?( \w+){0,2} (mensajes?|sms|correos?|avisos?|textos?|mensajitos)\b",
];

/// What makes the same words mean something else.
const INNOCENT: &[&str] = &[
    r"\b(don t|dont|do not|never|no need to|not|please don t) (stop|quit|end|cancel|unsubscribe|remove|take me off|opt)\b",
    r"\b(don t|dont|do not|never|no need to|not)( \w+){0,1} (take|remove|delete|drop|cut) (me|us|my|our|this)\b",
    r"\bno( \w+)? (dej\w+|par\w{1,3}|paren|cancel\w+|quit\w+|borr\w+|me quit\w+|nos quit\w+|me borr\w+) ?(de|me|nos|mi)?\b.*\b(mand\w+|envi\w+|escrib\w+|avis\w+|lista|inform\w+)\b",
    r"\bdej\w+ de molestar (a|al) \w+",
    r"\b(did|do|does|will|when|why|if) (you|they|it|these|this|i|the texts|the messages)\b.*\b(stop|end)\b",
    r"\b(i|we|she|he|they|it|have|has|had|got|get|getting|received?|seen|there (are|were|is|s))( \w+)? no (more|further)\b",
    r"\b(sending|writing|texts?|messages?|emails?)( \w+){0,3} to (her|his|him|their|them|my (ex|husband|wife|partner|mum|mom|dad|mother|father|son|daughter))\b",
    r"\b(texting|messaging|emailing|mailing|contacting) (her|his|him|their|them|my (ex|husband|wife|partner|mum|mom|dad|mother|father|son|daughter))\b",
    r"\b(her|his|their|the) (place|spot|lesson|class|costume|ticket|booking|name)\b.*\b(list|system)?\b.*\b(cancel|remove|take)\b",
    r"\b(take|remove|delete|drop|sac\w+|quit\w+|borr\w+)\b( (her|him|them|a|al|la|le|wren|my (son|daughter|child)|mi (hija|hijo)))\b.*\b(off|from|de la lista)\b",
    r"\bstill (need|want)\b.*\b(updates|messages|texts|reminders|times)\b",
    r"\b(don t|dont|do not|no) (need|necesit\w+)( \w+){0,2} (reminder|reminding|recordatorio)\b.*\b(i|we|ya)\b.*\b(know|ready|se|sabemos)\b",
];

/// How the last lines of a letter begin that are no words of its writer, or stand before a name.
const SIGNATURES: &[&str] = &[
    "sent from",
    "sent via",
    "sent on",
    "get outlook",
    "enviado desde",
    "enviado por",
    "enviado con",
    "mensaje enviado",
    "regards",
    "kind regards",
    "best",
    "best wishes",
    "cheers",
    "love",
    "yours",
    "from",
    "saludos",
    "un saludo",
    "atentamente",
    "att",
    "atte",
];
/// Words of a name at the end of a message, at most: "Mrs Ada van Hale".
const NAME_WORDS: usize = 4;
/// Characters of a letter that can still be one plain request.
const REQUEST_CHARACTERS: usize = 280;

fn set(list: &[&str]) -> RegexSet {
    // A test holds that every pattern can be read.
    RegexSet::new(list).unwrap_or_else(|_| RegexSet::empty())
}

static ASKING: LazyLock<RegexSet> = LazyLock::new(|| set(ASKS));
static INNOCENTLY: LazyLock<RegexSet> = LazyLock::new(|| set(INNOCENT));

/// Whether a message asks for no more messages.
pub(super) fn asks_to_stop(words: &str) -> bool {
    let own = without_signature(words);
    let own = own.trim();
    if own.is_empty() || own.chars().count() > REQUEST_CHARACTERS {
        return false;
    }
    let all = clauses(own);
    if INNOCENTLY.is_match(&fold(own)) {
        return false;
    }
    let asks = |clause: &String| ASKING.is_match(clause);
    let courtesy = |clause: &String| BEFORE.contains(&clause.as_str()) || AFTER.contains(&clause.as_str());
    let bare = |clause: &String| is_bare(clause);
    let said: Vec<&String> = all.iter().filter(|clause| !courtesy(clause)).collect();
    // A bare word counts only where nothing else is said; "Stop?" is asked, not said.
    let only_bare =
        !said.is_empty() && said.iter().all(|clause| bare(clause)) && !own.contains(['?', '¿', '؟']);
    only_bare || said.iter().any(|clause| asks(clause))
}

/// Whether a clause is one of the words that stop, said once or again and again.
fn is_bare(clause: &str) -> bool {
    let plain = without_courtesy(clause);
    if STOP.contains(&clause) || STOP.contains(&plain) {
        return true;
    }
    let mut words: Vec<&str> =
        plain.split(' ').filter(|word| !["please", "pls", "now", "ya"].contains(word)).collect();
    words.dedup();
    !words.is_empty() && words.iter().all(|word| STOP.contains(word))
}

/// The message without the lines that only sign it.
fn without_signature(words: &str) -> String {
    let mut lines: Vec<&str> = words.lines().map(str::trim).filter(|line| !line.is_empty()).collect();
    if let Some(at) = lines.iter().position(|line| ["--", "—", "__"].contains(line)).filter(|at| *at > 0) {
        lines.truncate(at);
    }
    while lines.len() > 1 {
        let Some(last) = lines.last().copied() else { break };
        let folded = fold(last);
        let signs = SIGNATURES.iter().any(|opening| super::begins(&folded, opening));
        // A short last line under a whole request is a name.
        let above = clauses(&lines[..lines.len() - 1].join("\n"));
        let named = folded.split(' ').count() <= NAME_WORDS
            && !is_bare(&folded)
            && !last.contains(['?', '¿'])
            && above.iter().any(|clause| is_bare(clause) || ASKING.is_match(clause));
        if !(signs || named) {
            break;
        }
        lines.pop();
    }
    lines.join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_pattern_can_be_read() {
        assert_eq!((ASKING.len(), INNOCENTLY.len()), (ASKS.len(), INNOCENT.len()));
    }
}
