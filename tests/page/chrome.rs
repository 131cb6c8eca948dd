//! A real browser without a window, driven by its own driver.

use std::io::{BufRead, BufReader};
use std::os::unix::process::CommandExt;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use axum::http::Method;
use fantoccini::wd::WebDriverCompatibleCommand;
use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};
use url::{ParseError, Url};

use super::run::PATIENCE;

/// Names under which the browser may be found.
const BROWSERS: &[&str] = &["chromium", "chromium-browser", "google-chrome"];

/// The driver, its browsers, and where they keep their things.
pub(crate) struct Chrome {
    driver: Child,
    port: u16,
    folder: tempfile::TempDir,
    browser: PathBuf,
    opened: u32,
}

/// How the reader of the page likes it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Theme {
    Light,
    Dark,
}

impl Chrome {
    /// Starts the driver. `None`, with the reason printed, where there is no browser; under `CI=true` that fails.
    pub(crate) fn start() -> Option<Chrome> {
        let found = |name: &str| {
            let path = std::env::var_os("PATH")?;
            std::env::split_paths(&path).map(|folder| folder.join(name)).find(|path| path.is_file())
        };
        let (Some(browser), Some(driver)) = (BROWSERS.iter().find_map(|name| found(name)), found("chromedriver"))
        else {
            assert!(std::env::var("CI").as_deref() != Ok("true"), "chromium and chromedriver are wanted under CI=true");
            eprintln!("skipped: chromium and chromedriver are not installed");
            return None;
        };
        let mut driver = Command::new(driver)
            .arg("--port=0")
            // A group of its own, so that its browsers go with it.
            .process_group(0)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the driver starts");
        let mut lines = BufReader::new(driver.stdout.take().unwrap()).lines().map_while(Result::ok);
        let port = lines.find_map(|line| {
            let (_, port) = line.split_once("started successfully on port ")?;
            port.trim_end_matches('.').parse().ok()
        });
        std::thread::spawn(move || lines.for_each(drop));
        let port = port.expect("the driver says its port");
        Some(Chrome { driver, port, folder: tempfile::tempdir().unwrap(), browser, opened: 0 })
    }

    /// A browser of its own with a window of this size.
    pub(crate) async fn open(&mut self, (width, height): (u32, u32), theme: Theme) -> Page {
        self.opened += 1;
        let own = self.folder.path().join(self.opened.to_string());
        let scheme = match theme {
            Theme::Light => 1,
            Theme::Dark => 0,
        };
        let arguments = [
            "--headless".to_owned(),
            "--no-sandbox".to_owned(),
            "--disable-gpu".to_owned(),
            "--disable-quic".to_owned(),
            "--no-first-run".to_owned(),
            "--disable-background-networking".to_owned(),
            "--disable-component-update".to_owned(),
            "--disable-sync".to_owned(),
            "--disable-dev-shm-usage".to_owned(),
            "--hide-scrollbars".to_owned(),
            "--autoplay-policy=no-user-gesture-required".to_owned(),
            format!("--blink-settings=preferredColorScheme={scheme}"),
            format!("--window-size={width},{height}"),
            format!("--user-data-dir={}", own.display()),
        ];
        let wanted = json!({
            "goog:chromeOptions": {
                "binary": self.browser, "args": arguments,
                "mobileEmulation": { "deviceMetrics": { "width": width, "height": height, "pixelRatio": 1.0, "touch": false } },
            },
            "goog:loggingPrefs": { "browser": "ALL" },
        });
        let client = ClientBuilder::new(HttpConnector::new())
            .capabilities(wanted.as_object().unwrap().clone())
            .connect(&format!("http://127.0.0.1:{}", self.port))
            .await
            .expect("a browser opens");
        Page { client }
    }
}

impl Drop for Chrome {
    fn drop(&mut self) {
        let group = rustix::process::Pid::from_child(&self.driver);
        // Gone already if it died by itself.
        let _ = rustix::process::kill_process_group(group, rustix::process::Signal::KILL);
        let _ = self.driver.wait();
    }
}

/// What is said to the browser's developer tools, through its driver.
#[derive(Debug)]
struct ToTools {
    command: String,
    params: Value,
}

impl WebDriverCompatibleCommand for ToTools {
    fn endpoint(&self, base: &Url, session: Option<&str>) -> Result<Url, ParseError> {
        base.join(&format!("session/{}/goog/cdp/execute", session.unwrap_or_default()))
    }

    fn method_and_body(&self, _: &Url) -> (Method, Option<String>) {
        (Method::POST, Some(json!({ "cmd": self.command, "params": self.params }).to_string()))
    }
}

/// A page in a browser.
pub(crate) struct Page {
    pub(crate) client: Client,
}

impl Page {
    pub(crate) async fn go(&self, url: &str) {
        self.client.goto(url).await.unwrap();
    }

    /// Shows the page in a window of another size, to a reader who likes another theme.
    pub(crate) async fn look(&self, (width, height): (u32, u32), theme: Theme) {
        let metrics = json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": false });
        self.tools("Emulation.setDeviceMetricsOverride", metrics).await;
        let value = if theme == Theme::Light { "light" } else { "dark" };
        let features = json!({ "features": [{ "name": "prefers-color-scheme", "value": value }] });
        self.tools("Emulation.setEmulatedMedia", features).await;
    }

    /// Runs a script in the page and gives what it returns.
    pub(crate) async fn script(&self, script: &str) -> Value {
        self.client.execute(script, Vec::new()).await.unwrap_or_else(|error| panic!("{script}: {error}"))
    }

    /// The text of an element.
    pub(crate) async fn text(&self, css: &str) -> String {
        let script = format!("return document.querySelector({css:?})?.textContent.trim() ?? ''");
        self.script(&script).await.as_str().unwrap().to_owned()
    }

    /// Says something to the browser's developer tools.
    pub(crate) async fn tools(&self, command: &str, params: Value) -> Value {
        let asked = ToTools { command: command.to_owned(), params };
        self.client.issue_cmd(asked).await.unwrap_or_else(|error| panic!("{command}: {error}"))
    }

    /// Breaks something in every page that is opened from now on, before its own scripts run.
    pub(crate) async fn plant(&self, fault: &str) {
        self.tools("Page.addScriptToEvaluateOnNewDocument", json!({ "source": fault })).await;
    }

    /// Waits until a script returns true; gives how long that took.
    pub(crate) async fn until(&self, what: &str, condition: &str) -> Duration {
        self.within(PATIENCE, what, condition).await.unwrap_or_else(|why| panic!("{why}"))
    }

    /// The same with a bound of its own.
    ///
    /// # Errors
    /// It did not come in time, with what was shown instead.
    pub(crate) async fn within(&self, bound: Duration, what: &str, condition: &str) -> Result<Duration, String> {
        let began = Instant::now();
        loop {
            if self.script(&format!("return Boolean({condition})")).await == Value::Bool(true) {
                return Ok(began.elapsed());
            }
            if began.elapsed() >= bound {
                let shown = self.script("return document.body.innerText").await;
                return Err(format!("not in {bound:?}: {what}\n{}", shown.as_str().unwrap_or_default()));
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    }

    /// Waits until the verdict's words are these.
    pub(crate) async fn verdict(&self, words: &str) -> Duration {
        self.verdict_within(PATIENCE, words).await.unwrap_or_else(|why| panic!("{why}"))
    }

    /// The same with a bound of its own.
    ///
    /// # Errors
    /// It did not come in time, with what was shown instead.
    pub(crate) async fn verdict_within(&self, bound: Duration, words: &str) -> Result<Duration, String> {
        let condition = format!("document.getElementById('verdict-text')?.textContent === {words:?}");
        self.within(bound, &format!("the verdict {words:?}"), &condition).await
    }

    pub(crate) async fn click(&self, css: &str) {
        self.client.find(Locator::Css(css)).await.unwrap_or_else(|e| panic!("{css}: {e}")).click().await.unwrap();
    }

    /// Presses a key, wherever the focus is.
    pub(crate) async fn press(&self, key: &str, code: u32) {
        let text = if key == "Enter" { "\r" } else { "" };
        for kind in ["keyDown", "keyUp"] {
            let event = json!({ "type": kind, "key": key, "code": key, "windowsVirtualKeyCode": code, "text": text });
            self.tools("Input.dispatchKeyEvent", event).await;
        }
    }

    pub(crate) async fn type_in(&self, css: &str, text: &str) {
        self.client.find(Locator::Css(css)).await.unwrap().send_keys(text).await.unwrap();
    }

    /// Keeps a picture of what is shown.
    pub(crate) async fn picture(&self, name: &str) {
        let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("artefacts");
        std::fs::create_dir_all(&folder).unwrap();
        self.until("the letters are there", "document.fonts.status === 'loaded'").await;
        std::fs::write(folder.join(format!("{name}.png")), self.client.screenshot().await.unwrap()).unwrap();
    }

    /// Everything that two pages of one job must have in common.
    pub(crate) async fn shown(&self) -> Value {
        self.script(
            "return ['verdict', 'findings', 'rows', 'figures'].map((id) => document.getElementById(id).innerText\
             .replace(/\\t\\u2026$/gm, '').replace(/(?<=(Instrument|Last reading)\\n).*/g, ''))",
        )
        .await
    }
}
