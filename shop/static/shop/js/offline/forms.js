// A form of a floor page as the act it stands for, so that an act whose answer was lost and the act in the outbox are one and the same.
// Pure: path and fields in, act out; null for a form that only the server can take (a PIN, closing, a decision).

const BATCH = /^\/make\/batch\/([^/]+)\/(.*)$/;
const WITH_UNIT = /^\s*([+\-−]?[0-9.,]+)\s*(mm|in|"|N|lbf|m[ΩΩ]|[µμ][ΩΩ]|%)\s*$/i;
const SPELLED = { mm: "mm", in: "in", '"': "in", n: "N", lbf: "lbf", "mω": "mΩ", "µω": "µΩ", "μω": "µΩ", "%": "%" };

const first = (fields, name) => fields.find(([one]) => one === name)?.[1] ?? "";
const has = (fields, name) => fields.some(([one]) => one === name);
const spaced = (slug) => slug.replaceAll("-", " ");

function value(fields, unit) {
  if (has(fields, "take")) return { text: first(fields, "take").trim(), unit };
  const text = first(fields, "text").trim();
  const sent = WITH_UNIT.exec(text);
  if (sent) return { text: sent[1], unit: SPELLED[sent[2].toLowerCase()] };
  return { text, unit: first(fields, "unit") || unit };
}

/** The names of the characteristics whose slug is not just the words with hyphens. */
const named = (slug) => (slug === "cut-off-tab" ? "cut-off tab" : spaced(slug));

const UNIT_OF = { resistance: "mΩ", compaction: "%" };

function kindOf(path, fields) {
  let match;
  if (path === "set-up/" || path === "change/") {
    const count = first(fields, "at_count");
    return { kind: "scan", content: { code: first(fields, "code").trim(), ...(count ? { at_count: count } : {}) } };
  }
  if (path === "first-piece/") return { kind: "start sample", content: { sample_kind: null, at_count: first(fields, "at_count").trim() } };
  if ((match = /^sample\/new\/([^/]+)\/$/.exec(path))) {
    return { kind: "start sample", content: { sample_kind: spaced(match[1]), at_count: first(fields, "at_count").trim() } };
  }
  if ((match = /^sample\/(\d+)\/reading\/([^/]+)\/(\d+)\/$/.exec(path))) {
    const characteristic = named(match[2]);
    const typed = value(fields, UNIT_OF[characteristic] ?? "mm");
    return { kind: "reading", content: { sample: Number(match[1]), characteristic, piece: Number(match[3]), ...typed, confirmed: has(fields, "confirmed") } };
  }
  if ((match = /^sample\/(\d+)\/pull\/(\d+)\/$/.exec(path))) {
    const typed = value(fields, "N");
    return { kind: "pull", content: { sample: Number(match[1]), piece: Number(match[2]), ...typed, mode: first(fields, "mode"), confirmed: has(fields, "confirmed") } };
  }
  if ((match = /^sample\/(\d+)\/look\/$/.exec(path))) return { kind: "visual", content: { sample: Number(match[1]), marked: fields } };
  if ((match = /^sample\/(\d+)\/overview\/$/.exec(path)) && !has(fields, "secret")) return { kind: "conclude", content: { sample: Number(match[1]) } };
  if (path === "stop/") return { kind: "hold", content: { reason: first(fields, "reason"), at_count: first(fields, "at_count").trim() } };
  return null;
}

const NOT_CONTENT = new Set(["csrfmiddlewaretoken", "act_key", "secret"]);

/** What the form says, or null. fields: pairs of name and value, with the button that sent it. */
export function actOfForm(path, fields) {
  const batch = BATCH.exec(decodeURIComponent(path));
  const key = first(fields, "act_key");
  if (!batch || !key) return null;
  const said = kindOf(batch[2], fields);
  if (!said) return null;
  return { key, batch: batch[1], ...said, path: decodeURIComponent(path), fields: fields.filter(([name]) => !NOT_CONTENT.has(name)) };
}

/** The answers of the page "Look at the pieces": what is marked, and the rest where one touch accepted all. */
export function answersOf(marked, criteria) {
  const rest = has(marked, "all") ? "accept" : "";
  return criteria
    .map((criterion) => ({ criterion, said: first(marked, criterion) || rest }))
    .filter(({ said }) => said === "accept" || said === "reject")
    .map(({ criterion, said }) => ({ criterion, accepted: said === "accept", note: said === "accept" ? "" : first(marked, `note-${criterion}`) }));
}
