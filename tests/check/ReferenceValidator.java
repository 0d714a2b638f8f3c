import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.context.support.DefaultProfileValidationSupport;
import ca.uhn.fhir.validation.FhirValidator;
import ca.uhn.fhir.validation.SingleValidationMessage;
import java.nio.file.DirectoryStream;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.Paths;
import java.util.Arrays;
import java.util.Scanner;
import org.hl7.fhir.common.hapi.validation.support.CommonCodeSystemsTerminologyService;
import org.hl7.fhir.common.hapi.validation.support.InMemoryTerminologyServerValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.PrePopulatedValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.SnapshotGeneratingValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.ValidationSupportChain;
import org.hl7.fhir.common.hapi.validation.validator.FhirInstanceValidator;

/**
 * Validates the files named on standard input against the release named first and the definitions
 * in the folders named after it.
 * Writes "==", a tab and the file, then a line per message: severity, place and text, separated by tabs.
 */
public class ReferenceValidator {
  public static void main(String[] arguments) throws Exception {
    FhirContext context = arguments[0].equals("R5") ? FhirContext.forR5() : FhirContext.forR4();
    String[] folders = Arrays.copyOfRange(arguments, 1, arguments.length);
    PrePopulatedValidationSupport own = new PrePopulatedValidationSupport(context);
    for (String folder : folders) {
      try (DirectoryStream<Path> files = Files.newDirectoryStream(Paths.get(folder), "*.json")) {
        for (Path file : files) {
          own.addResource(context.newJsonParser().parseResource(Files.readString(file)));
        }
      }
    }
    ValidationSupportChain chain = new ValidationSupportChain(
        own,
        new DefaultProfileValidationSupport(context),
        new SnapshotGeneratingValidationSupport(context),
        new InMemoryTerminologyServerValidationSupport(context),
        new CommonCodeSystemsTerminologyService(context));
    FhirValidator validator = context.newValidator();
    validator.registerValidatorModule(new FhirInstanceValidator(chain));
    Scanner lines = new Scanner(System.in, "UTF-8");
    while (lines.hasNextLine()) {
      String file = lines.nextLine();
      System.out.println("==\t" + file);
      try {
        for (SingleValidationMessage one : validator.validateWithResult(Files.readString(Paths.get(file))).getMessages()) {
          String text = one.getMessage().replaceAll("\\s+", " ");
          System.out.println(one.getSeverity() + "\t" + one.getLocationString() + "\t" + text);
        }
      } catch (RuntimeException error) {
        System.out.println("FATAL\t-\t" + String.valueOf(error.getMessage()).replaceAll("\\s+", " "));
      }
    }
  }
}
