"use strict";
/* Checks by hand without a signal: what service/hand, service/gate and service/aisle reckon, from the tables they ship.
   Pure: nothing here touches a page or a network. tests/service/web/test_byhand_script.py compares it with them. */
const byhand = (() => {
  const OPEN = ["cannot_say", "not_looked"];
  const sum = (a) => a.reduce((x, y) => x + y, 0);
  const most = (a) => a.reduce((best, v, k) => (v > a[best] ? k : best), 0);

  function doubles(text) {
    const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
    const view = new DataView(bytes.buffer);
    return Float64Array.from({ length: bytes.length / 8 }, (_, k) => view.getFloat64(8 * k, true));
  }

  function ready(tables) {
    const own = Object.fromEntries(Object.entries(tables.own).map(([k, v]) => [k, doubles(v)]));
    return { ...tables, own, together: doubles(tables.together), byKey: Object.fromEntries(tables.checks.map((c) => [c.key, c])) };
  }

  function normal(logs) {
    const top = Math.max(...logs);
    const p = logs.map((v) => Math.exp(v - top));
    const all = sum(p);
    return p.map((v) => v / all);
  }

  function quantile(values, q) {
    const sorted = Float64Array.from(values).sort();
    const at = (sorted.length - 1) * q;
    const low = Math.floor(at);
    const part = at - low;
    const [a, b] = [sorted[low], sorted[Math.min(low + 1, sorted.length - 1)]];
    return part < 0.5 ? a + (b - a) * part : b - (b - a) * (1 - part);
  }

  const strength = (logs) => Math.max(...logs) - Math.min(...logs);

  // Every answer as it counts: of each group the strongest whole, what repeats it or a photo in part.
  function weightsOf(t, part, answers) {
    const raw = [];
    for (const [key, answer] of Object.entries(answers)) {
      const check = t.byKey[key];
      const found = check?.answers.find((a) => a.key === answer);
      if (found) raw.push({ check: key, answer, logs: found.logs, group: check.group, decisive: check.decisive, cues: check.cues });
    }
    if (part.mass) raw.push({ check: "weigh", answer: "on a scale", logs: part.mass, group: "mass", decisive: false, cues: [] });
    const strongest = {};
    raw.forEach((w, k) => { if (!(w.group in strongest) || strength(w.logs) > strength(raw[strongest[w.group]].logs)) strongest[w.group] = k; });
    return raw.map((w, k) => {
      let [share, why] = [1, ""];
      if (strongest[w.group] !== k) [share, why] = [t.within_group, `repeats '${raw[strongest[w.group]].check}'`];
      else if (!w.decisive && w.cues.some((c) => part.cues.includes(c))) [share, why] = [t.seen_on_photo, "the photo verdict has used the same"];
      return { check: w.check, answer: w.answer, logs: w.logs.map((v) => v * share), share, why };
    });
  }

  function doubt(t, weight) {
    const own = t.own[weight.check];
    if (t.byKey[weight.check]?.decisive) return own.map((v) => Math.exp(t.doubt_decisive * v));
    return own.map((v, k) => Math.exp(t.doubt_each * v + t.doubt_all * t.together[k]));
  }

  function grouped(p, member, groups) {
    const out = new Array(groups).fill(0);
    member.forEach((g, s) => { if (g >= 0) out[g] += p[s]; });
    return out;
  }

  function ranges(middle, drawn, names) {
    return Object.fromEntries(names.map((n, k) => {
      const values = drawn.map((d) => d[k]);
      return [n, { low: Math.min(quantile(values, 0.05), middle[k]), middle: middle[k], high: Math.max(quantile(values, 0.95), middle[k]) }];
    }));
  }

  // Of what photos left open, that which the answers alone do not tell against.
  function kept(t, alone, middle, member, names, left) {
    if (!left.length) return new Set();
    const mass = grouped(middle, member, names.length).map((v) => Math.max(v, 1e-300));
    const likely = alone.map((logs) => {
      const top = Math.max(...logs);
      return grouped(logs.map((v, s) => Math.exp(v - top) * middle[s]), member, names.length).map((v, k) => v / mass[k]);
    });
    const leader = most(grouped(middle, member, names.length));
    return new Set(names.filter((n, k) => left.includes(n) && k !== leader
      && quantile(likely.map((d) => d[leader] / Math.max(d[k], 1e-300)), 0.05) < t.against_photo));
  }

  function called(t, found, stays, names) {
    const left = names.filter((n) => found[n].high >= t.ruled_out || stays.has(n)).sort((a, b) => found[b].middle - found[a].middle);
    const named = names.find((n) => found[n].low >= t.named && [...stays].every((k) => k === n)) ?? null;
    return [named, left.length ? left : [names[most(names.map((n) => found[n].middle))]]];
  }

  // A part with its answers; `part` as views/routine.py gives it.
  function fuse(t, part, answers) {
    const weights = weightsOf(t, part, answers);
    const begin = part.start.map(Math.log);
    const middle = normal(begin.map((v, s) => v + sum(weights.map((w) => w.logs[s]))));
    const strengths = weights.map((w) => doubt(t, w));
    const alone = Array.from({ length: weights.length ? t.draws : 1 }, (_, d) => begin.map((_v, s) => sum(weights.map((w, k) => strengths[k][d] * w.logs[s]))));
    const drawn = weights.length ? alone.map((logs) => normal(logs.map((v, s) => v + begin[s]))) : [middle];
    const face = (p) => grouped(p, t.face_of, t.faces.length);
    const core = (p) => { const c = grouped(p, t.core_of, t.cores.length); const all = sum(c); return c.map((v) => v / all); };
    const faces = ranges(face(middle), drawn.map(face), t.faces);
    const cores = ranges(core(middle), drawn.map(core), t.cores);
    const [faceNamed, facesLeft] = called(t, faces, kept(t, alone, middle, t.face_of, t.faces, part.faces), t.faces);
    const [coreNamed, coresLeft] = called(t, cores, kept(t, alone, middle, t.core_of, t.cores, part.cores), t.cores);
    return { weights, substrates: middle, faces, cores, face: faceNamed, core: coreNamed, facesLeft, coresLeft };
  }

  // What one answer speaks for and against most, among faces in play, and how much (decibans).
  function pull(t, weight, fused) {
    const p = fused.substrates.map((v, s) => v * Math.exp(-weight.logs[s]));
    const before = grouped(p, t.face_of, t.faces.length);
    const after = grouped(p.map((v, s) => v * Math.exp(weight.logs[s])), t.face_of, t.faces.length);
    const logs = Object.fromEntries(t.faces.map((f, k) => [f, before[k] > 0 ? Math.log(after[k] / before[k]) : 0]));
    const two = [...t.faces].sort((a, b) => fused.faces[b].middle - fused.faces[a].middle).slice(0, 2);
    const play = [...new Set([...fused.facesLeft, ...two])];
    const up = play.reduce((a, b) => (logs[b] > logs[a] ? b : a));
    const down = play.reduce((a, b) => (logs[b] < logs[a] ? b : a));
    return { up, down, decibans: 10 * (logs[up] - logs[down]) / Math.LN10 };
  }

  const entropy = (p) => -sum(p.map((x) => (x > 0 ? x * Math.log2(x) : 0)));

  function expectedBits(t, part, check, fused) {
    const inner = sum(check.table.map((row, s) => (fused.substrates[s] > 0 ? fused.substrates[s] * entropy(row) : 0)));
    const outcome = check.answers.map((_, a) => sum(check.table.map((row, s) => fused.substrates[s] * row[a])));
    let found = Math.max(0, entropy(outcome) - inner);
    const told = fused.weights.map((w) => (w.check === "weigh" ? "mass" : t.byKey[w.check].group));
    if (told.includes(check.group)) found *= t.within_group;
    else if (!check.decisive && check.cues.some((c) => part.cues.includes(c))) found *= t.seen_on_photo;
    return found;
  }

  // Checks still worth making on a part, most told for the time first.
  function nextChecks(t, part, fused, answered, role) {
    const settled = fused.face !== null && (["solid_wood", "not_wood"].includes(fused.face) || fused.core !== null);
    if (settled) return [];
    return t.checks.filter((c) => !answered.includes(c.key) && c.roles.includes(role))
      .map((check) => { const bits = expectedBits(t, part, check, fused); return { check, bits, aMinute: bits * 60 / (check.seconds + t.overhead) }; })
      .filter((w) => w.bits >= t.least_bits).sort((a, b) => b.aMinute - a.aMinute);
  }

  // Where the piece stands at the gate.
  function judged(t, said) {
    const look = t.questions.map((q) => ({ q, a: q.answers.find((a) => a.key === said[q.key]) ?? null, why: said[q.key] === "cannot_say" ? "cannot_say" : "not_looked" }));
    const reasons = look.filter((l) => l.a && l.a.rank > 0).map((l) => ({ question: l.q.key, words: l.a.words, reason: l.a.reason, do: l.a.do, rank: l.a.rank })).sort((a, b) => b.rank - a.rank);
    const unknown = look.filter((l) => !l.a);
    const rank = Math.max(0, ...reasons.map((r) => r.rank));
    const worst = t.verdicts.length - 1;
    return { rank, couldBe: Math.max(rank, ...unknown.map((l) => Math.max(...l.q.answers.map((a) => a.rank)))), reasons,
      unknown: unknown.map((l) => ({ question: l.q.key, name: l.q.name, why: l.why })), moneyTalk: rank < worst,
      next: rank === worst ? null : t.questions.find((q) => !(q.key in said)) ?? null };
  }

  function refused(t, part, goal, fused) {
    const face = part.confirmed[0] ?? (fused.weights.length ? fused.face : null);
    if (!goal || face === null) return null;
    const fits = fused.coresLeft.filter((c) => t.board.some(([f, k]) => f === face && k === c));
    const cores = fits.length ? fits : t.cores;
    const row = t.refused.rows.find((r) => r.goals.includes(goal) && r.faces.includes(face) && (!r.cores.length || r.cores.some((c) => cores.includes(c))));
    return row?.reason ?? (face === "veneer" ? t.refused.thin_veneer[goal] ?? null : null);
  }

  // Everything: `piece` as views/routine.py gives it, `said`: part -> check -> answer, `gate`: question -> answer.
  function now(t, piece, gate, said) {
    const at = judged(t, gate);
    const parts = piece.parts.filter((part) => piece.asked.includes(part.id)).map((part) => ({ ...part, said: said[part.id] ?? {}, fused: fuse(t, part, said[part.id] ?? {}) }));
    const spent = sum(Object.keys(gate).map((k) => t.questions.find((q) => q.key === k)?.seconds ?? 0))
      + sum(parts.flatMap((p) => Object.keys(p.said).map((c) => t.byKey[c].seconds + t.overhead)));
    const out = { at, parts, seconds: spent, next: null, over: "", breaker: null };
    if (!at.moneyTalk) out.breaker = { part: null, words: `${at.reasons[0].words}: ${at.reasons[0].reason}` };
    for (const p of out.breaker ? [] : parts) {
      const reason = t.must.includes(p.role) ? refused(t, p, piece.goal, p.fused) : null;
      if (reason !== null) { out.breaker = { part: p.id, words: `${p.name}: ${t.goals[piece.goal]} is refused. ${reason}` }; break; }
    }
    if (out.breaker) return { ...out, over: "broken" };
    const left = piece.seconds - spent;
    if (at.next) {
      if (at.next.seconds > left) return { ...out, over: "time" };
      return { ...out, next: { key: `gate/${at.next.key}`, text: at.next.text, how: at.next.how, answers: at.next.answers, drawing: at.next.drawing, seconds: at.next.seconds } };
    }
    const offered = parts.filter((p) => p.confirmed[0] === null)
      .flatMap((p) => nextChecks(t, p, p.fused, Object.keys(p.said), p.role).slice(0, 1).map((w) => ({ p, w, value: w.aMinute * (t.exposure[p.role] ?? 1) })));
    if (!offered.length) return { ...out, over: parts.every((p) => p.fused.face !== null) ? "settled" : "nothing" };
    const { p, w } = offered.reduce((a, b) => (b.value > a.value ? b : a));
    if (w.check.seconds + t.overhead > left) return { ...out, over: "time" };
    const text = `${p.name}: ${w.check.text[0].toLowerCase()}${w.check.text.slice(1)}`;
    return { ...out, next: { key: `${p.id}/${w.check.key}`, text, how: w.check.how, answers: w.check.answers, drawing: w.check.drawing, seconds: w.check.seconds, bits: w.bits } };
  }

  const percent = (p) => (p > 0 && p < 0.01 ? "under 1 %" : p > 0.99 && p < 1 ? "over 99 %" : `${even(100 * p)} %`);
  // Halves go to the even number, as the program rounds them.
  function even(v) {
    const low = Math.floor(v);
    return v - low === 0.5 ? low + (low % 2) : Math.round(v);
  }
  function odds(decibans) {
    const ratio = 10 ** (Math.min(decibans, 60) / 10);
    return `${ratio >= 10 ? even(ratio) : ratio.toFixed(1)} to 1`;
  }

  const round = (v, digits) => Math.round(v * 10 ** digits) / 10 ** digits;

  // What the page says of one part: its call, the faces in play, what moved it. The words are those of views/by_hand.py.
  function partLine(t, part, fused) {
    const [face, core] = [part.confirmed[0] ?? fused.face, part.confirmed[1] ?? fused.core];
    const w = (k) => t.words[k];
    const call = face ? w(face) + (["veneer", "printed", "opaque"].includes(face) && core ? ` on ${w(core)}` : "") : `cannot tell: ${fused.facesLeft.map(w).join(", ")}`;
    const ranged = t.faces.map((f) => ({ f, low: round(fused.faces[f].low, 4), middle: round(fused.faces[f].middle, 4), high: round(fused.faces[f].high, 4) }));
    const rows = ranged.filter((r) => r.high >= 0.05).sort((a, b) => b.middle - a.middle).slice(0, 4)
      .map((r) => ({ words: w(r.f), low: percent(r.low), high: percent(r.high), middle: r.middle }));
    const pulls = fused.weights.map((weight) => { const x = pull(t, weight, fused); return [weight, { ...x, decibans: round(x.decibans, 2) }]; });
    const moved = pulls.filter(([, x]) => x.decibans >= 0.5).map(([weight, x]) => {
      const check = t.byKey[weight.check];
      return { key: weight.check, check: check ? check.text : "Weighed", answer: check ? check.answers.find((a) => a.key === weight.answer).words : weight.answer,
        words: `${odds(x.decibans)} for ${w(x.up)} against ${w(x.down)}`, why: weight.why };
    });
    return { call, open: !face, rows, moved };
  }

  return { OPEN, ready, fuse, pull, judged, nextChecks, now, partLine, odds, percent };
})();
if (typeof module !== "undefined") module.exports = byhand;
