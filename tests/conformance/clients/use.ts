// A client that openapi-typescript made, used as an app would: one path and one refusal.
import createClient from "openapi-fetch";
import type { components, paths } from "./api.js";

type Path = components["schemas"]["Path"];

const client = createClient<paths>({ baseUrl: process.argv[2] ?? "" });

async function ask(chart: string) {
  return client.POST("/v1/paths", { body: { chart, setting: { hands: "left" } } });
}

function played(path: Path): (number[] | null)[] {
  return path.steps.map((step) => step.voicing?.midi_notes ?? null);
}

const found = await ask("| Fm7 | N.C. | Bb7 |");
if (found.data === undefined) throw new Error(found.error.detail);
const refused = await ask("| Fm7 | Bbq7 |");
if (refused.error === undefined) throw new Error("this was to be refused");
console.log(
  JSON.stringify({
    total: found.data.motion,
    played: played(found.data),
    code: refused.error.code,
    pointers: refused.error.errors.map((fault) => fault.pointer),
  }),
);
