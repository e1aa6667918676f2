// The generated TypeScript client, used as an app would: a symbol, a path, a score and a refusal.
import { createHash } from "node:crypto";
import { ChordsApi, Configuration, PathsApi, ProblemFromJSON, ResponseError, ScoresApi } from "./generated";

const configuration = new Configuration({ basePath: process.argv[2] ?? "" });
const setting = { hands: "left" } as const;
const chart = { text: "| Fm7 | N.C. | Bb7 |" };

async function main(): Promise<void> {
  const chord = await new ChordsApi(configuration).getChord({ symbol: "Abm7b5/Gb" });
  const paths = new PathsApi(configuration);
  const path = await paths.findPath({ pathRequest: { chart, setting } });
  const score = await new ScoresApi(configuration).writeScore({
    scoreRequest: { chart, setting, format: "midi" },
  });
  const refused = await paths.findPath({ pathRequest: { chart: { text: "| Fm7 | Bbq7 |" }, setting } }).catch(
    (error: unknown) => {
      if (error instanceof ResponseError) return error.response.json();
      throw error;
    },
  );
  const problem = ProblemFromJSON(refused);
  console.log(
    JSON.stringify({
      bass: chord.bass,
      motion: path.motion,
      played: path.steps.map((step) => step.midiNotes),
      score: createHash("sha256").update(Buffer.from(await score.arrayBuffer())).digest("hex"),
      code: problem.code,
      pointer: problem.errors[0]?.pointer,
    }),
  );
}

void main();
