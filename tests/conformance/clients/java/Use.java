// The generated Java client, used as an app would: a symbol, a path, a score and a refusal.

import com.fasterxml.jackson.databind.ObjectMapper;
import java.io.File;
import java.lang.reflect.Method;
import java.nio.file.Files;
import java.security.MessageDigest;
import java.util.ArrayList;
import java.util.Arrays;
import java.util.Comparator;
import java.util.HexFormat;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import org.openapitools.client.ApiClient;
import org.openapitools.client.ApiException;
import org.openapitools.client.api.ChordsApi;
import org.openapitools.client.api.PathsApi;
import org.openapitools.client.api.ScoresApi;
import org.openapitools.client.model.ChartInput;
import org.openapitools.client.model.Hands;
import org.openapitools.client.model.PathRequest;
import org.openapitools.client.model.PathStep;
import org.openapitools.client.model.Problem;
import org.openapitools.client.model.ScoreFormat;
import org.openapitools.client.model.ScoreRequest;
import org.openapitools.client.model.Setting;
import org.openapitools.client.model.VoicingPath;

public class Use {
  static PathRequest request(String text) {
    Setting setting = new Setting().hands(Hands.HANDS_LEFT);
    return new PathRequest().chart(new ChartInput().text(text)).setting(setting);
  }

  /** A score; the options of the query, which are for raw charts, are null. */
  static File write(ScoresApi scores, ScoreRequest request) throws Exception {
    Method call =
        Arrays.stream(ScoresApi.class.getMethods())
            .filter(method -> method.getName().equals("writeScore"))
            .min(Comparator.comparing(Method::getParameterCount))
            .get();
    Object[] given = new Object[call.getParameterCount()];
    given[0] = request;
    return (File) call.invoke(scores, given);
  }

  public static void main(String[] arguments) throws Exception {
    ApiClient client = new ApiClient();
    client.updateBaseUri(arguments[0]);
    Map<String, Object> said = new LinkedHashMap<>();
    said.put("bass", new ChordsApi(client).getChord("Abm7b5/Gb", null).getBass());

    PathsApi paths = new PathsApi(client);
    VoicingPath path = paths.findPath(request("| Fm7 | N.C. | Bb7 |"));
    List<List<Integer>> played = new ArrayList<>();
    for (PathStep step : path.getSteps()) played.add(step.getMidiNotes());
    said.put("motion", path.getMotion());
    said.put("played", played);

    ScoreRequest score = new ScoreRequest().chart(new ChartInput().text("| Fm7 | N.C. | Bb7 |"));
    score.setting(new Setting().hands(Hands.HANDS_LEFT)).format(ScoreFormat.SCORE_FORMAT_MIDI);
    byte[] content = Files.readAllBytes(write(new ScoresApi(client), score).toPath());
    byte[] digest = MessageDigest.getInstance("SHA-256").digest(content);
    said.put("score", HexFormat.of().formatHex(digest));

    ObjectMapper json = new ObjectMapper();
    try {
      paths.findPath(request("| Fm7 | Bbq7 |"));
    } catch (ApiException refused) {
      Problem problem = json.readValue(refused.getResponseBody(), Problem.class);
      said.put("code", problem.getCode());
      said.put("pointer", problem.getErrors().get(0).getPointer());
    }
    System.out.println(json.writeValueAsString(said));
  }
}
