//! The topics: `spBv1.0/group/type/node[/device]` (chapter 4).

/// The first level of every topic.
pub const NAMESPACE: &str = "spBv1.0";
/// The second level of a host's own state, which no node may have as its group.
const STATE: &str = "STATE";

/// What a message is, whether it is of a node or of a device.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// NBIRTH, DBIRTH: which metrics there are, and their values.
    Birth,
    /// NDEATH, DDEATH: the connection is lost.
    Death,
    /// NDATA, DDATA: values that changed.
    Data,
    /// NCMD, DCMD: what hosts write, to others than us.
    Command,
}

/// Whom a message type is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Level {
    Node,
    Device,
}

const TYPES: [(&str, Level, Kind); 8] = [
    ("NBIRTH", Level::Node, Kind::Birth),
    ("NDEATH", Level::Node, Kind::Death),
    ("NDATA", Level::Node, Kind::Data),
    ("NCMD", Level::Node, Kind::Command),
    ("DBIRTH", Level::Device, Kind::Birth),
    ("DDEATH", Level::Device, Kind::Death),
    ("DDATA", Level::Device, Kind::Data),
    ("DCMD", Level::Device, Kind::Command),
];

/// A topic taken apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Topic<'a> {
    /// Group of the node.
    pub group: &'a str,
    /// Its name in the group.
    pub node: &'a str,
    /// The device of the node, where the message is about one.
    pub device: Option<&'a str>,
    /// What the message is.
    pub kind: Kind,
}

/// Why a topic is none of the standard's.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum TopicError {
    /// Another first level.
    #[error("the topic does not begin with spBv1.0/")]
    Namespace,
    /// Too few or too many levels.
    #[error("the topic is not spBv1.0/group/type/node or spBv1.0/group/type/node/device")]
    Levels,
    /// A level without text.
    #[error("the topic has an empty group, node or device")]
    Empty,
    /// Not a message type.
    #[error(
        "the topic's third level is no message type; those of nodes are NBIRTH, NDATA, NDEATH, NCMD, of devices DBIRTH, DDATA, DDEATH, DCMD"
    )]
    Type,
    /// The type is one of devices.
    #[error("the topic names no device, but its message type is one of devices")]
    DeviceMissing,
    /// The type is one of nodes.
    #[error("the topic names a device, but its message type is one of nodes")]
    DeviceGiven,
}

impl<'a> Topic<'a> {
    /// Takes a topic apart; `None` for the state of a host
    /// (`spBv1.0/STATE/host`), which says nothing of a node.
    ///
    /// # Errors
    /// When it is not a topic of the standard.
    pub fn parse(topic: &'a str) -> Result<Option<Self>, TopicError> {
        let mut levels = topic.split('/');
        if levels.next() != Some(NAMESPACE) {
            return Err(TopicError::Namespace);
        }
        let mut next = || levels.next();
        let (group, word) = (next(), next());
        let (node, device, beyond) = (next(), next(), next());
        if group == Some(STATE) && word.is_some() && node.is_none() {
            return Ok(None);
        }
        let (Some(group), Some(word), Some(node), None) = (group, word, node, beyond) else {
            return Err(TopicError::Levels);
        };
        if group.is_empty() || node.is_empty() || device == Some("") {
            return Err(TopicError::Empty);
        }
        let known = TYPES.iter().find(|(name, ..)| *name == word);
        let &(_, level, kind) = known.ok_or(TopicError::Type)?;
        match (level, device) {
            (Level::Node, Some(_)) => Err(TopicError::DeviceGiven),
            (Level::Device, None) => Err(TopicError::DeviceMissing),
            _ => Ok(Some(Topic {
                group,
                node,
                device,
                kind,
            })),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn each_type_wants_its_levels() {
        for (word, level, kind) in TYPES {
            let of_node = format!("spBv1.0/Hall 3/{word}/gateway-1");
            let of_device = format!("{of_node}/refractometer");
            let (good, bad, wrong) = match level {
                Level::Node => (of_node, of_device, TopicError::DeviceGiven),
                Level::Device => (of_device, of_node, TopicError::DeviceMissing),
            };
            let topic = Topic::parse(&good).unwrap().unwrap();
            assert_eq!((topic.group, topic.node), ("Hall 3", "gateway-1"));
            assert_eq!(topic.kind, kind);
            assert_eq!(topic.device.is_some(), level == Level::Device);
            assert_eq!(Topic::parse(&bad), Err(wrong), "{bad}");
        }
    }

    #[test]
    fn the_state_of_a_host_is_no_message_of_a_node() {
        assert_eq!(Topic::parse("spBv1.0/STATE/host-1"), Ok(None));
        assert_eq!(Topic::parse("spBv1.0/STATE"), Err(TopicError::Levels));
    }

    #[test]
    fn nothing_else_is_a_topic() {
        for (topic, why) in [
            ("", TopicError::Namespace),
            ("spAv1.0/g/NDATA/n", TopicError::Namespace),
            ("spBv1.0", TopicError::Levels),
            ("spBv1.0/g/NDATA", TopicError::Levels),
            ("spBv1.0/g/DDATA/n/d/e", TopicError::Levels),
            ("spBv1.0//NDATA/n", TopicError::Empty),
            ("spBv1.0/g/NDATA/", TopicError::Empty),
            ("spBv1.0/g/DDATA/n/", TopicError::Empty),
            ("spBv1.0/g/ndata/n", TopicError::Type),
        ] {
            assert_eq!(Topic::parse(topic), Err(why), "{topic}");
        }
    }

    proptest! {
        #[test]
        fn what_was_put_together_is_taken_apart(
            group in "[^/+#]{1,8}", node in "[^/+#]{1,8}", device in "[^/+#]{1,8}"
        ) {
            let topic = format!("spBv1.0/{group}/DDATA/{node}/{device}");
            let parts = Topic { group: &group, node: &node, device: Some(&device), kind: Kind::Data };
            prop_assert_eq!(Topic::parse(&topic), Ok(Some(parts)));
        }

        #[test]
        fn no_topic_panics(topic in "(spBv1.0)?[/a-zA-Z]{0,30}") {
            let _ = Topic::parse(&topic);
        }
    }
}
