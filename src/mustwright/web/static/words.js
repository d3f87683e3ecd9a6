// What scripts say, in the language of their page. The table is written from the catalogue by
// `python scripts/catalogue.py scripts`. Used by the pages and by the service worker alike.
"use strict";
const wordings = (() => {
  // The table begins here.
  const TABLE = {
  "de": {
    "1 entry waits on this device": "1 Eintrag wartet auf diesem Gerät",
    "1 entry was sent.": "1 Eintrag wurde gesendet.",
    "1 minute ago": "vor 1 Minute",
    "Clear": "Zurücksetzen",
    "Delete it": "Löschen",
    "Event": "Ereignis",
    "Feed": "Gabe",
    "Fill it in again": "Wieder einsetzen",
    "No network.": "Kein Netz.",
    "No network: the entry is kept here and sent later.": "Kein Netz: Der Eintrag bleibt hier und wird später gesendet.",
    "Note": "Notiz",
    "Photo": "Foto",
    "Read the picture at": "Das Bild ablesen bei",
    "Reading": "Messung",
    "Ready since {time}": "Fertig seit {time} Uhr",
    "Ready: {name}": "Fertig: {name}",
    "Send it again": "Noch einmal senden",
    "Sign in to send:": "Zum Senden anmelden:",
    "Signing in needs a connection.": "Anmelden braucht eine Verbindung.",
    "Start afresh": "Neu anfangen",
    "Start {minutes} minutes": "{minutes} Minuten starten",
    "Stop": "Anhalten",
    "That needs a connection. Go back: what you typed is still there.": "Das braucht eine Verbindung. Zurückgehen: Was eingetippt war, ist noch da.",
    "The cellar does not answer in time.": "Der Keller antwortet nicht rechtzeitig.",
    "The kept pages were removed from this device. Sign out again with a connection, so that the cellar ends the session too.": "Die gespeicherten Seiten wurden von diesem Gerät entfernt. Mit Verbindung noch einmal abmelden, damit auch der Keller die Sitzung beendet.",
    "The pages do not answer: is Mustwright still running?": "Die Seiten antworten nicht: Läuft Mustwright noch?",
    "This is a copy from {moment}, {ago}.": "Dies ist eine Kopie von {moment}, {ago}.",
    "This page is not kept on this device.": "Diese Seite ist auf diesem Gerät nicht gespeichert.",
    "What you had typed here ({when}) is back.": "Was hier eingetippt war ({when}), ist wieder da.",
    "You had typed here ({when}); it was changed elsewhere since.": "Hier war etwas eingetippt ({when}); seither wurde es anderswo geändert.",
    "You had typed more here ({when}).": "Hier war mehr eingetippt ({when}).",
    "given as planned": "wie geplant gegeben",
    "gravity": "Dichte",
    "just now": "gerade eben",
    "picture": "Bild",
    "sample at": "Probe bei",
    "skipped": "ausgelassen",
    "temperature": "Temperatur",
    "{count} days ago": "vor {count} Tagen",
    "{count} entries wait on this device": "{count} Einträge warten auf diesem Gerät",
    "{count} entries were sent.": "{count} Einträge wurden gesendet.",
    "{count} hours ago": "vor {count} Stunden",
    "{count} minutes ago": "vor {count} Minuten",
    "{done} % done, about {left} s left.": "{done} % fertig, noch etwa {left} s.",
    "{left} left, ready at {time}": "noch {left}, fertig um {time} Uhr",
    "“Now” and “today” on it mean then. Its forecast knows nothing that came later.": "„Jetzt“ und „heute“ meinen darauf den Zeitpunkt von damals. Ihre Vorhersage weiß nichts von dem, was später kam."
  }
};
  // The table ends here.
  const in_language = (language) => (english, values = {}) =>
    (TABLE[language]?.[english] ?? english).replace(/\{(\w+)\}/g, (_, name) => values[name]);
  const here = (english, values) => in_language(document.documentElement.lang)(english, values);
  const locale = (language) => language === "de" ? "de-DE" : "en-GB";
  // Day and time of a moment [ms], written in one way wherever a script tells one.
  const moment = (ms, language = document.documentElement.lang) => new Date(ms).toLocaleString(locale(language),
    { weekday: "long", day: "numeric", month: "long", hour: "2-digit", minute: "2-digit" });
  return { here, in_language, locale, moment };
})();
