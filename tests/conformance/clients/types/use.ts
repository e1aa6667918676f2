// Types by openapi-typescript, used as an app would: a symbol, a path, a score and a refusal.
import { createHash } from "node:crypto";
import createClient from "openapi-fetch";
import type { paths } from "./api.js";

const client = createClient<paths>({ baseUrl: process.argv[2] ?? "" });
const setting = { hands: "left" } as const;
const chart = { text: "| Fm7 | N.C. | Bb7 |" };

const chord = await client.GET("/v1/chords", { params: { query: { symbol: "Abm7b5/Gb" } } });
const path = await client.POST("/v1/paths", { body: { chart, setting } });
const score = await client.POST("/v1/scores", { body: { chart, setting, format: "midi" }, parseAs: "arrayBuffer" });
const refused = await client.POST("/v1/paths", { body: { chart: { text: "| Fm7 | Bbq7 |" }, setting } });
if (!chord.data || !path.data || !score.data || !refused.error) throw new Error("another answer was expected");
console.log(
  JSON.stringify({
    bass: chord.data.bass,
    motion: path.data.motion,
    played: path.data.steps.map((step) => step.midi_notes),
    score: createHash("sha256").update(Buffer.from(score.data as unknown as ArrayBuffer)).digest("hex"),
    code: refused.error.code,
    pointer: refused.error.errors[0]?.pointer,
  }),
);
