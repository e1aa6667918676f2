// The generated Go client, used as an app would: a symbol, a path, a score and a refusal.
package main

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io"
	"os"

	shortway "github.com/GIT_USER_ID/GIT_REPO_ID"
)

func must(err error) {
	if err != nil {
		panic(err)
	}
}

func chart(text string) shortway.ChartInput {
	input := shortway.NewChartInput()
	input.SetText(text)
	return *input
}

func leftHand() shortway.Setting {
	setting := shortway.NewSetting()
	setting.SetHands(shortway.HANDS_LEFT)
	return *setting
}

func request(text string) shortway.PathRequest {
	asked := shortway.NewPathRequest(chart(text))
	asked.SetSetting(leftHand())
	return *asked
}

func main() {
	configuration := shortway.NewConfiguration()
	configuration.Servers = shortway.ServerConfigurations{{URL: os.Args[1]}}
	client, ctx := shortway.NewAPIClient(configuration), context.Background()

	chord, _, err := client.ChordsAPI.GetChord(ctx).Symbol("Abm7b5/Gb").Execute()
	must(err)
	path, _, err := client.PathsAPI.FindPath(ctx).PathRequest(request("| Fm7 | N.C. | Bb7 |")).Execute()
	must(err)
	played := [][]int32{}
	for _, step := range path.Steps {
		played = append(played, step.GetMidiNotes())
	}

	score := shortway.NewScoreRequest(chart("| Fm7 | N.C. | Bb7 |"))
	score.SetSetting(leftHand())
	score.SetFormat(shortway.SCORE_FORMAT_MIDI)
	file, _, err := client.ScoresAPI.WriteScore(ctx).ScoreRequest(*score).Execute()
	must(err)
	content, err := io.ReadAll(file)
	must(err)

	_, _, err = client.PathsAPI.FindPath(ctx).PathRequest(request("| Fm7 | Bbq7 |")).Execute()
	problem := err.(*shortway.GenericOpenAPIError).Model().(shortway.Problem)
	said, err := json.Marshal(map[string]any{
		"bass": chord.GetBass(), "motion": path.Motion, "played": played,
		"score": fmt.Sprintf("%x", sha256.Sum256(content)),
		"code":  problem.Code, "pointer": problem.Errors[0].Pointer,
	})
	must(err)
	fmt.Println(string(said))
}
